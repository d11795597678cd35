//go:build linux

package postgres

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

const temporaryPrefix = "lastlight-postgres-"

// claim is a temporary directory that lives as long as a lock is held on it, so that one left by a killed process can be told
// from one in use.
type claim struct {
	dir  string
	lock *os.File
}

func claimTemporary() (*claim, error) {
	sweep()
	dir, err := os.MkdirTemp("", temporaryPrefix)
	if err != nil {
		return nil, err
	}
	lock, err := lockDir(dir)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	return &claim{dir, lock}, nil
}

func (c *claim) remove() error {
	return errors.Join(os.RemoveAll(c.dir), c.lock.Close())
}

// lockDir takes the lock of a directory, or fails at once if another process holds it.
func lockDir(dir string) (*os.File, error) {
	d, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(d.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", dir, err), d.Close())
	}
	return d, nil
}

// sweep removes what killed processes left, as far as that is possible; whatever it cannot remove may stay.
func sweep() {
	left, _ := filepath.Glob(filepath.Join(os.TempDir(), temporaryPrefix+"*"))
	for _, dir := range left {
		info, err := os.Lstat(dir)
		// Between making a directory and locking it there is a moment; one just made is not abandoned.
		if err != nil || !info.IsDir() || time.Since(info.ModTime()) < time.Minute {
			continue
		}
		lock, err := lockDir(dir)
		if err != nil {
			continue
		}
		data := filepath.Join(dir, "data")
		pid, _ := readPidFile(data)
		if _, ours := inspect(pid, data); pid == 0 || !ours {
			os.RemoveAll(dir)
		}
		lock.Close()
	}
}
