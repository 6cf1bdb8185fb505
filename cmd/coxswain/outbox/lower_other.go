//go:build !linux

package outbox

func lower() {}
