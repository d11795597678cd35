package storetest

import (
	"os"
	"testing"

	"lastlight/migrations"
	"lastlight/server/internal/schema"
)

func TestMain(m *testing.M) { os.Exit(Run(m)) }

func TestEachTestHasItsOwnDatabase(t *testing.T) {
	t.Parallel()
	a, b := New(t), New(t)
	if _, err := a.Exec(t.Context(), "CREATE TABLE only_here (n int)"); err != nil {
		t.Fatal(err)
	}
	var there bool
	if err := b.QueryRow(t.Context(), "SELECT to_regclass('only_here') IS NOT NULL").Scan(&there); err != nil {
		t.Fatal(err)
	}
	if there {
		t.Error("a table made in one database is seen in another")
	}
	if err := schema.Check(t.Context(), b, migrations.FS); err != nil {
		t.Errorf("not migrated: %v", err)
	}
}

func TestEmptyDatabaseIsNotMigrated(t *testing.T) {
	t.Parallel()
	if err := schema.Check(t.Context(), pool(t, EmptyURL(t)), migrations.FS); err == nil {
		t.Error("a database without tables passes as migrated")
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		URL(b)
	}
}
