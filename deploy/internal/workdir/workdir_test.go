//go:build linux

package workdir

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"
)

func TestRemovesOnlyWhatIsAbandoned(t *testing.T) {
	t.Parallel()
	parent := t.TempDir()
	used, err := New(parent, "run-", nil)
	if err != nil {
		t.Fatal(err)
	}
	paths := map[string]string{"used": used.Path}
	for _, name := range []string{"run-abandoned", "run-busy", "run-young", "other-old"} {
		paths[name] = filepath.Join(parent, name)
		if err := os.MkdirAll(filepath.Join(paths[name], "in"), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	old := time.Now().Add(-time.Hour)
	for _, name := range []string{"used", "run-abandoned", "run-busy", "other-old"} {
		if err := os.Chtimes(paths[name], old, old); err != nil {
			t.Fatal(err)
		}
	}
	next, err := New(parent, "run-", func(path string) bool { return path == paths["run-busy"] })
	if err != nil {
		t.Fatal(err)
	}
	for name, path := range paths {
		_, err := os.Stat(path)
		if gone := errors.Is(err, fs.ErrNotExist); gone != (name == "run-abandoned") {
			t.Errorf("%s: removed is %v (%v)", name, gone, err)
		}
	}
	for _, d := range []*Dir{used, next} {
		if err := d.Remove(); err != nil {
			t.Error(err)
		}
		if _, err := os.Stat(d.Path); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s is still there", d.Path)
		}
	}
}
