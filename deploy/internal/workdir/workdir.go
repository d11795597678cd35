//go:build linux

// Package workdir makes directories that belong to one run of a program, and removes those that killed runs have left.
package workdir

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// Dir is a directory that is locked as long as its run lives.
type Dir struct {
	Path string
	lock *os.File
}

// New makes a directory whose name begins with prefix, for this user alone, after removing those of runs that have ended.
// inUse, if not nil, keeps one that still has a process of its own although its run has ended.
func New(parent, prefix string, inUse func(path string) bool) (*Dir, error) {
	sweep(parent, prefix, inUse)
	path, err := os.MkdirTemp(parent, prefix)
	if err != nil {
		return nil, err
	}
	lock, err := take(path)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(path))
	}
	return &Dir{path, lock}, nil
}

// Remove removes the directory with all that is in it.
func (d *Dir) Remove() error {
	return errors.Join(os.RemoveAll(d.Path), d.lock.Close())
}

// take locks a directory, or fails at once if another process holds the lock. The kernel gives it back when the process ends,
// and no child inherits it.
func take(path string) (*os.File, error) {
	d, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(d.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", path, err), d.Close())
	}
	return d, nil
}

// sweep is best effort: what it cannot remove may be somebody else's.
func sweep(parent, prefix string, inUse func(string) bool) {
	left, err := filepath.Glob(filepath.Join(parent, prefix+"*"))
	if err != nil {
		return
	}
	for _, path := range left {
		info, err := os.Lstat(path)
		// Between making a directory and locking it there is a moment: one just made is not abandoned.
		if err != nil || !info.IsDir() || time.Since(info.ModTime()) < time.Minute {
			continue
		}
		lock, err := take(path)
		if err != nil {
			continue
		}
		if inUse == nil || !inUse(path) {
			_ = os.RemoveAll(path)
		}
		lock.Close()
	}
}
