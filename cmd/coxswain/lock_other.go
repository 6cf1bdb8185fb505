//go:build !linux

package main

func lockRecords(string) (func(), error) { return func() {}, nil }
