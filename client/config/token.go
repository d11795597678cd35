package config

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"lastlight/client/exit"
)

// Longest token that is taken, bytes.
const maxToken = 512

// ReadToken reads a bearer token. A file that others may read or write is
// refused: its token must be taken as known to them.
func ReadToken(path string) (string, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "", exit.Errorf(exit.NotAllowed, "no token in %s: store one with `lastlight login`", path)
	}
	if err != nil {
		return "", exit.With(exit.NotAllowed, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return "", exit.With(exit.NotAllowed, err)
	}
	if !info.Mode().IsRegular() {
		return "", exit.Errorf(exit.Usage, "token file %s is not a plain file", path)
	}
	if perm := info.Mode().Perm(); perm&0o077 != 0 {
		return "", exit.Errorf(exit.Usage, "token file %s has mode %04o, expected 0600: others may have read it; renew the token, then chmod 600", path, perm)
	}
	return CleanToken(f)
}

// CleanToken reads one token of printable ASCII without blanks from r.
func CleanToken(r io.Reader) (string, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxToken+1))
	if err != nil {
		return "", exit.With(exit.Usage, err)
	}
	token := strings.TrimSpace(string(raw))
	if token == "" || len(raw) > maxToken || strings.ContainsFunc(token, func(c rune) bool { return c <= ' ' || c > '~' }) {
		// The token itself stands in no message.
		return "", exit.Errorf(exit.Usage, "that is not a token: one word of at most %d printable characters is expected", maxToken)
	}
	return token, nil
}

// WriteToken stores a token readable by its owner only.
func WriteToken(path, token string) error {
	return replace(path, []byte(token+"\n"))
}

// replace writes a file of mode 0600 beside path and renames it into place,
// so that a full disk leaves the old one.
func replace(path string, data []byte) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return exit.With(exit.Usage, err)
	}
	f, err := os.CreateTemp(dir, ".new-*")
	if err != nil {
		return exit.With(exit.Usage, err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(0o600), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return exit.With(exit.Usage, err)
	}
	return nil
}
