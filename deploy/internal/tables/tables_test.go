package tables

import (
	"os"
	"path/filepath"
	"testing"
)

// TestPublishedTables runs every reader on the copies in testdata/tables: the
// same work as ./deploy/check-tables testdata/tables.
func TestPublishedTables(t *testing.T) {
	names, err := filepath.Glob("../../../testdata/tables/*.json")
	if err != nil || len(names) == 0 {
		t.Fatalf("no tables: %v", err)
	}
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			reader := For(name)
			if reader == nil {
				t.Fatal("no reader for a table that lies beside the others")
			}
			content, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			result, err := Check(reader, content)
			if err != nil {
				t.Fatal(err)
			}
			if result.Rows == 0 {
				t.Fatal("no row compared")
			}
			for _, line := range result.Failures {
				t.Error(line)
			}
			for _, line := range result.Skipped {
				t.Log("not covered:", line)
			}
		})
	}
}
