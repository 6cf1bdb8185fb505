package main

import (
	"archive/tar"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"coxswain/cmd/coxswain/config"

	"filippo.io/age"
	"github.com/spf13/cobra"
)

// sealed is the ending of an encrypted record: a tar file encrypted with age.
const sealed = ".tar.age"

func newSeal(c *config.Config) *cobra.Command {
	var to string
	var all, remove bool
	cmd := &cobra.Command{
		Use: "seal [DIR...] --to RECIPIENTS", Short: "Encrypt finished records to a site key",
		Long: `Encrypt finished records with age (age-encryption.org/v1) to the keys in
RECIPIENTS, one age1... a line, into DIR.tar.age, which is on the disk before
--remove deletes the folder. Open one with coxswain unseal or with age itself.`,
		Example: "  age-keygen -o site.key && age-keygen -y site.key > site.pub\n  coxswain seal records/2026-03-01T140000 --to site.pub --remove\n  coxswain seal --all --to site.pub --remove       # nightly",
		RunE: func(cmd *cobra.Command, args []string) error {
			if all {
				found, err := recordDirs(c.Folder)
				if err != nil {
					return err
				}
				args = append(args, found...)
			}
			f, err := os.Open(to)
			if err != nil {
				return fmt.Errorf("--to: %w", err)
			}
			defer f.Close()
			keys, err := age.ParseRecipients(f)
			if err != nil {
				return fmt.Errorf("--to %s: %w", to, err)
			}
			for _, dir := range args {
				if err := seal(filepath.Clean(dir), keys, remove); err != nil {
					if !all {
						return err
					}
					fmt.Fprintln(cmd.ErrOrStderr(), "coxswain: not sealed:", err)
					continue
				}
				fmt.Fprintln(cmd.OutOrStdout(), filepath.Clean(dir)+sealed)
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "file of age public keys")
	cmd.Flags().BoolVar(&all, "all", false, "every finished record under --records")
	cmd.Flags().BoolVar(&remove, "remove", false, "delete the folder once the encrypted file is safe")
	return cmd
}

// seal encrypts a whole record. The record is checked first: an unfinished one
// is still needed as it is.
func seal(dir string, keys []age.Recipient, remove bool) (err error) {
	if _, _, err := verify(dir); err != nil {
		return err
	}
	out, err := os.OpenFile(dir+sealed, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(dir + sealed)
		}
	}()
	w, err := age.Encrypt(out, keys...)
	if err != nil {
		return err
	}
	err = errors.Join(packRecord(w, dir), w.Close(), out.Sync(), out.Close())
	if err == nil && remove {
		return os.RemoveAll(dir)
	}
	return err
}

// packRecord writes the files of a record as a tar archive.
func packRecord(w io.Writer, dir string) error {
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	t := tar.NewWriter(w)
	for _, e := range files {
		if !e.Type().IsRegular() {
			continue
		}
		if err := packFile(t, filepath.Join(dir, e.Name())); err != nil {
			return err
		}
	}
	return t.Close()
}

func packFile(t *tar.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	if err := t.WriteHeader(&tar.Header{Name: filepath.Base(path), Size: st.Size(), Mode: 0o600, ModTime: st.ModTime()}); err != nil {
		return err
	}
	_, err = io.Copy(t, f)
	return err
}

func newUnseal() *cobra.Command {
	var identity, out string
	cmd := &cobra.Command{
		Use: "unseal FILE.tar.age --identity KEY --out DIR", Short: "Open an encrypted record",
		Example: "  coxswain unseal records/2026-03-01T140000.tar.age --identity site.key --out /tmp/record",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if identity == "" || out == "" {
				return fmt.Errorf("say --identity KEY and --out DIR")
			}
			k, err := os.Open(identity)
			if err != nil {
				return err
			}
			defer k.Close()
			ids, err := age.ParseIdentities(k)
			if err != nil {
				return fmt.Errorf("--identity %s: %w", identity, err)
			}
			if err := unseal(args[0], ids, out); err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), out)
			return err
		},
	}
	cmd.Flags().StringVar(&identity, "identity", "", "file with the age secret key")
	cmd.Flags().StringVar(&out, "out", "", "new folder for the record")
	return cmd
}

func unseal(path string, ids []age.Identity, dir string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := age.Decrypt(f, ids...)
	if err != nil {
		return err
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	return unpack(r, dir)
}

// unpack writes the files of a record's tar archive into dir; a name that would
// lie elsewhere ends it.
func unpack(r io.Reader, dir string) error {
	t := tar.NewReader(r)
	for {
		h, err := t.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if h.Name != filepath.Base(h.Name) || h.Typeflag != tar.TypeReg || strings.HasPrefix(h.Name, ".") {
			return fmt.Errorf("holds %q, which is no file of a record", h.Name)
		}
		out, err := os.OpenFile(filepath.Join(dir, h.Name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return err
		}
		_, err = io.Copy(out, t)
		if err = errors.Join(err, out.Close()); err != nil {
			return err
		}
	}
}

func newRetain(c *config.Config) *cobra.Command {
	var age string
	var really bool
	cmd := &cobra.Command{
		Use: "retain --older-than AGE", Short: "Delete records by age",
		Long:    "List the records under --records that began longer than AGE ago (such as 90d), encrypted ones too. With --delete they are deleted.",
		Example: "  coxswain retain --older-than 90d             # a dry run\n  coxswain retain --older-than 90d --delete",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			days, err := strconv.Atoi(strings.TrimSuffix(age, "d"))
			if err != nil || days < 1 || !strings.HasSuffix(age, "d") {
				return fmt.Errorf("--older-than %q: want days, such as 90d", age)
			}
			old, err := olderThan(c.Folder, time.Now().AddDate(0, 0, -days))
			if err != nil {
				return err
			}
			for _, path := range old {
				if really {
					if err := os.RemoveAll(path); err != nil {
						return err
					}
					fmt.Fprintln(cmd.OutOrStdout(), "deleted", path)
				} else {
					fmt.Fprintln(cmd.OutOrStdout(), "would delete", path)
				}
			}
			if !really {
				fmt.Fprintf(cmd.OutOrStdout(), "%d records; nothing was deleted: say --delete\n", len(old))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&age, "older-than", "", "age in days, such as 90d")
	cmd.Flags().BoolVar(&really, "delete", false, "delete, not only list")
	return cmd
}

var recordName = regexp.MustCompile(`^(\d{4}-\d\d-\d\dT\d{6})(\.tar\.age)?$`)

// olderThan lists records that began before a moment, by their names, which a
// session gives them. Nothing else in the folder is touched.
func olderThan(records string, before time.Time) ([]string, error) {
	entries, err := os.ReadDir(records)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		m := recordName.FindStringSubmatch(e.Name())
		if m == nil || e.Type()&os.ModeSymlink != 0 {
			continue
		}
		at, err := time.ParseInLocation("2006-01-02T150405", m[1], time.Local)
		if err == nil && at.Before(before) {
			out = append(out, filepath.Join(records, e.Name()))
		}
	}
	return out, nil
}
