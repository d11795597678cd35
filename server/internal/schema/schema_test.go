package schema_test

import (
	"context"
	"io/fs"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/jackc/pgx/v5"

	"lastlight/migrations"
	"lastlight/server/internal/schema"
	"lastlight/server/internal/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Run(m)) }

func connect(t *testing.T, url string) *pgx.Conn {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close(context.Background()) })
	return c
}

// objects lists what a database holds beside the version table, one a line.
func objects(t *testing.T, c *pgx.Conn) []string {
	t.Helper()
	rows, err := c.Query(t.Context(), `
		SELECT kind || ' ' || name FROM (
			SELECT 'relation ' || c.relkind::text AS kind, c.relname || coalesce(': ' || pg_get_indexdef(i.indexrelid), '') AS name
			FROM pg_class c LEFT JOIN pg_index i ON i.indexrelid = c.oid
			WHERE c.relnamespace = 'public'::regnamespace AND c.relname NOT LIKE 'schema_migrations%'
			UNION ALL
			SELECT 'column', attrelid::regclass || '.' || attname || ' ' || format_type(atttypid, atttypmod) || ' ' || attnotnull
			FROM pg_attribute JOIN pg_class c ON c.oid = attrelid
			WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND attnum > 0 AND NOT attisdropped
			  AND c.relname <> 'schema_migrations'
			UNION ALL
			SELECT 'constraint', conname || ' ' || pg_get_constraintdef(oid)
			FROM pg_constraint WHERE connamespace = 'public'::regnamespace AND conrelid::regclass::text <> 'schema_migrations'
			UNION ALL
			SELECT 'function', p.oid::regprocedure::text FROM pg_proc p
			LEFT JOIN pg_depend d ON d.objid = p.oid AND d.deptype = 'e'
			WHERE p.pronamespace = 'public'::regnamespace AND d.objid IS NULL
			UNION ALL
			SELECT 'trigger', tgname || ' ' || tgrelid::regclass FROM pg_trigger WHERE NOT tgisinternal
			UNION ALL
			SELECT 'type', t.oid::regtype::text FROM pg_type t
			WHERE t.typnamespace = 'public'::regnamespace AND t.typtype IN ('e', 'd')
		) o ORDER BY 1`)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// TestUpDownUp finds a .down.sql that forgets something: the second way up would fail, or end in another schema.
func TestUpDownUp(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	c := connect(t, url)
	if _, err := schema.Up(t.Context(), url, migrations.FS); err != nil {
		t.Fatal(err)
	}
	first := strings.Join(objects(t, c), "\n")
	if first == "" {
		t.Fatal("the migrations make nothing")
	}
	if err := schema.Down(t.Context(), url, migrations.FS); err != nil {
		t.Fatal(err)
	}
	if left := objects(t, c); len(left) > 0 {
		t.Fatalf("still there after the way down:\n%s", strings.Join(left, "\n"))
	}
	if _, err := schema.Up(t.Context(), url, migrations.FS); err != nil {
		t.Fatal(err)
	}
	if second := strings.Join(objects(t, c), "\n"); second != first {
		t.Errorf("the second way up ends elsewhere:\n%s\nnot\n%s", second, first)
	}
}

// small is a schema of two files, the second of which cannot run in a transaction.
func small() fstest.MapFS {
	return fstest.MapFS{
		"0001_reading.up.sql":   {Data: []byte("CREATE TABLE reading (site int, level int)")},
		"0001_reading.down.sql": {Data: []byte("DROP TABLE reading")},
		"0002_by_site.up.sql":   {Data: []byte("CREATE INDEX CONCURRENTLY by_site ON reading (site)")},
		"0002_by_site.down.sql": {Data: []byte("DROP INDEX CONCURRENTLY by_site")},
	}
}

// TestManyAtOnce is the case in which golang-migrate alone deadlocks: several start while one builds an index concurrently.
func TestManyAtOnce(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	outcomes := make([]schema.Outcome, 8)
	errs := make([]error, 8)
	var all sync.WaitGroup
	for i := range outcomes {
		all.Go(func() { outcomes[i], errs[i] = schema.Up(t.Context(), url, small()) })
	}
	all.Wait()
	worked := 0
	for i, o := range outcomes {
		if errs[i] != nil {
			t.Errorf("run %d: %v", i, errs[i])
		}
		if o.To != 2 {
			t.Errorf("run %d ended at version %d", i, o.To)
		}
		if o.From == 0 {
			worked++
		}
	}
	if worked != 1 {
		t.Errorf("%d runs found the database empty, not 1", worked)
	}
	var valid bool
	if err := connect(t, url).QueryRow(t.Context(), "SELECT indisvalid FROM pg_index WHERE indexrelid = 'by_site'::regclass").Scan(&valid); err != nil || !valid {
		t.Errorf("the index is not valid: %v %v", valid, err)
	}
}

// The first run stays inside its migration for as long as this test holds a lock that the file asks for, and the second is given
// up once it is seen to wait: no time is guessed, however busy the machine is.
func TestWaitIsBounded(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	// Asked for again and again, since a migration waits for a lock only so long.
	const gate = "DO $$ BEGIN WHILE NOT pg_try_advisory_xact_lock(1) LOOP PERFORM pg_sleep(0.01); END LOOP; END $$"
	gated := fstest.MapFS{
		"0001_gated.up.sql":   {Data: []byte("CREATE TABLE gated (n int); " + gate)},
		"0001_gated.down.sql": {Data: []byte("DROP TABLE gated")},
	}
	c := connect(t, url)
	if _, err := c.Exec(t.Context(), "SELECT pg_advisory_lock(1)"); err != nil {
		t.Fatal(err)
	}
	// awaitSession returns once a session of this database other than the test's own is as the condition says.
	awaitSession := func(condition string) {
		t.Helper()
		for seen := false; !seen; time.Sleep(10 * time.Millisecond) {
			err := c.QueryRow(t.Context(), "SELECT EXISTS (SELECT FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() AND "+condition+")").Scan(&seen)
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	first := make(chan error, 1)
	go func() {
		_, err := schema.Up(t.Context(), url, gated)
		first <- err
	}()
	awaitSession("query LIKE 'CREATE TABLE gated%'")

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	second := make(chan error, 1)
	go func() {
		_, err := schema.Up(ctx, url, gated)
		second <- err
	}()
	// The one that has asked for the migrators' turn and holds no lock.
	awaitSession("query LIKE '%pg_try_advisory_lock%' AND NOT EXISTS (SELECT FROM pg_locks l WHERE l.pid = pg_stat_activity.pid AND locktype = 'advisory')")
	cancel()
	if err := <-second; err == nil || !strings.Contains(err.Error(), "wait for another migration") {
		t.Errorf("the second run did not give up: %v", err)
	}
	if _, err := c.Exec(t.Context(), "SELECT pg_advisory_unlock(1)"); err != nil {
		t.Fatal(err)
	}
	if err := <-first; err != nil {
		t.Error(err)
	}
}

func TestStoppedHalfWay(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	files := small()
	files["0002_by_site.up.sql"] = &fstest.MapFile{Data: []byte("CREATE INDEX by_site ON reading (no_such_column)")}
	if _, err := schema.Up(t.Context(), url, files); err == nil || !strings.Contains(err.Error(), "no_such_column") {
		t.Fatalf("the database's words are missing: %v", err)
	}
	for name, err := range map[string]error{
		"up again": second(schema.Up(t.Context(), url, files)),
		"check":    schema.Check(t.Context(), connect(t, url), files),
	} {
		if err == nil || !strings.Contains(err.Error(), "0002_by_site.up.sql") {
			t.Errorf("%s: the error does not name the file: %v", name, err)
		}
	}
}

func second(_ schema.Outcome, err error) error { return err }

func TestCheck(t *testing.T) {
	t.Parallel()
	url := storetest.EmptyURL(t)
	c := connect(t, url)
	older := small()
	delete(older, "0002_by_site.up.sql")
	delete(older, "0002_by_site.down.sql")
	for _, step := range []struct {
		name    string
		migrate fs.FS
		refused string
	}{
		{"empty", nil, "at version 0 and this program needs 2"},
		{"older", older, "at version 1 and this program needs 2"},
		{"same", small(), ""},
	} {
		if step.migrate != nil {
			if _, err := schema.Up(t.Context(), url, step.migrate); err != nil {
				t.Fatal(err)
			}
		}
		switch err := schema.Check(t.Context(), c, small()); {
		case step.refused == "" && err != nil:
			t.Errorf("%s: %v", step.name, err)
		case step.refused != "" && (err == nil || !strings.Contains(err.Error(), step.refused)):
			t.Errorf("%s: %v, not %q", step.name, err, step.refused)
		}
	}
	if err := schema.Check(t.Context(), c, older); err != nil {
		t.Errorf("a database newer than the program is refused: %v", err)
	}
}
