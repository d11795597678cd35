//go:build linux

package postgres

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// Package is the name of the distribution's package (Debian, Ubuntu) that holds the server.
const Package = "postgresql"

// ErrNotInstalled says that no PostgreSQL server was found on this machine.
var ErrNotInstalled = errors.New("no PostgreSQL server found: install the package " + Package + " (Debian, Ubuntu: apt-get install " + Package + ")")

// Binaries returns the directory with the newest installed server's programs, or ErrNotInstalled.
func Binaries() (string, error) {
	// Debian keeps them out of PATH, one directory for each major version.
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/postgres") // the pattern is well-formed
	best, newest := "", 0
	for _, path := range found {
		dir := filepath.Dir(path)
		major, err := strconv.Atoi(filepath.Base(filepath.Dir(dir)))
		if err != nil || major <= newest || !executable(filepath.Join(dir, "initdb")) || !executable(path) {
			continue
		}
		best, newest = dir, major
	}
	if best != "" {
		return best, nil
	}
	if path, err := exec.LookPath("postgres"); err == nil {
		if real, err := filepath.EvalSymlinks(path); err == nil && executable(filepath.Join(filepath.Dir(real), "initdb")) {
			return filepath.Dir(real), nil
		}
	}
	return "", ErrNotInstalled
}

func executable(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Mode().IsRegular() && info.Mode()&0o111 != 0
}

// DefaultDir is where this account keeps private clusters: /var/lib/lastlight as root (root's home is closed to the server's
// user), else the XDG data directory.
func DefaultDir() (string, error) {
	if os.Geteuid() == 0 {
		return "/var/lib/lastlight", nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "lastlight"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(home, ".local", "share", "lastlight"), nil
}

// account is the user that the server runs as when that is not the present one; nil means the present one.
type account struct {
	uid, gid uint32
}

func serverAccount() (*account, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		return nil, fmt.Errorf("PostgreSQL refuses to run as root, and its own user is missing: %w", err)
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, fmt.Errorf("user postgres: %w", err)
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	if err != nil {
		return nil, fmt.Errorf("user postgres: %w", err)
	}
	return &account{uint32(uid), uint32(gid)}, nil
}

func (a *account) credential() *syscall.Credential {
	if a == nil {
		return nil
	}
	return &syscall.Credential{Uid: a.uid, Gid: a.gid}
}

// own gives the path to the server's user.
func (a *account) own(path string) error {
	if a == nil {
		return nil
	}
	return os.Chown(path, int(a.uid), int(a.gid))
}

// canReach names the first directory on the way to dir that the server's user cannot pass.
func (a *account) canReach(dir string) error {
	if a == nil {
		return nil
	}
	for d := filepath.Dir(dir); ; d = filepath.Dir(d) {
		info, err := os.Stat(d)
		if err != nil {
			return err
		}
		st, ok := info.Sys().(*syscall.Stat_t)
		if !ok {
			return fmt.Errorf("%s: no owner known", d)
		}
		pass := info.Mode()&0o001 != 0
		switch {
		case st.Uid == a.uid:
			pass = info.Mode()&0o100 != 0
		case st.Gid == a.gid:
			pass = info.Mode()&0o010 != 0
		}
		if !pass {
			return fmt.Errorf("%s (mode %v): the user postgres cannot pass it on the way to %s; choose another directory, or chmod o+x", d, info.Mode().Perm(), dir)
		}
		if d == "/" {
			return nil
		}
	}
}
