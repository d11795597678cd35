package schema

import (
	"strings"
	"testing"
	"testing/fstest"

	"lastlight/migrations"
)

func TestShippedMigrationsAreWellFormed(t *testing.T) {
	t.Parallel()
	list, err := List(migrations.FS)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d migrations, the newest is %s", len(list), list[len(list)-1].Name)
}

func TestListTellsEveryProblem(t *testing.T) {
	t.Parallel()
	file := func(sql string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(sql)} }
	_, err := List(fstest.MapFS{
		"0001_sites.up.sql":       file("CREATE TABLE site (id uuid)"),
		"0001_sites.down.sql":     file("DROP TABLE site"),
		"0003_divers.up.sql":      file("CREATE TABLE diver (id uuid)"),
		"0004_Gear.up.sql":        file(""),
		"0005_index.up.sql":       file("CREATE INDEX CONCURRENTLY a ON site (id); ANALYZE site;"),
		"0005_index.down.sql":     file("DROP INDEX a; -- not CONCURRENTLY"),
		"README.md":               file("not a migration"),
		"0006_only_down.down.sql": file(""),
	})
	if err == nil {
		t.Fatal("accepted")
	}
	for _, want := range []string{
		"0003_divers: number 2 expected",
		"0003_divers: its .down.sql is missing",
		"0004_Gear.up.sql: a name is",
		"0005_index: number 3 expected",
		"0005_index.up.sql: CONCURRENTLY needs a file of its own",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("missing from the problems: %s", want)
		}
	}
	if n := len(strings.Split(err.Error(), "\n")); n != 5 {
		t.Errorf("%d problems, not 5:\n%v", n, err)
	}
}

func TestListWantsMigrations(t *testing.T) {
	t.Parallel()
	if _, err := List(fstest.MapFS{}); err == nil {
		t.Error("no files at all are accepted")
	}
}
