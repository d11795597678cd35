package schema

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Migration is one numbered step, with a file up and a file down.
type Migration struct {
	Version uint
	Name    string // the files' name without .up.sql and .down.sql
}

var fileName = regexp.MustCompile(`^(\d{4})_([a-z0-9_]+)\.(up|down)\.sql$`)

// List returns the migrations in order, or everything that is wrong with the files at once: golang-migrate skips a misnamed file,
// and one whose number is below the database's version, without a word.
func List(files fs.FS) ([]Migration, error) {
	entries, err := fs.ReadDir(files, ".")
	if err != nil {
		return nil, fmt.Errorf("read migrations: %w", err)
	}
	var problems []error
	var list []Migration
	seen := map[string]bool{}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".sql") {
			continue
		}
		seen[e.Name()] = true
		part := fileName.FindStringSubmatch(e.Name())
		if part == nil {
			problems = append(problems, fmt.Errorf("migration %s: a name is 0001_what_it_does.up.sql or .down.sql", e.Name()))
			continue
		}
		if part[3] == "up" {
			n, _ := strconv.ParseUint(part[1], 10, 16) // four digits
			list = append(list, Migration{uint(n), part[1] + "_" + part[2]})
		}
		text, err := fs.ReadFile(files, e.Name())
		if err != nil {
			problems = append(problems, err)
			continue
		}
		if err := checkText(string(text)); err != nil {
			problems = append(problems, fmt.Errorf("migration %s: %w", e.Name(), err))
		}
	}
	slices.SortFunc(list, func(a, b Migration) int {
		return cmp.Or(cmp.Compare(a.Version, b.Version), cmp.Compare(a.Name, b.Name))
	})
	for i, m := range list {
		if m.Version != uint(i+1) {
			problems = append(problems, fmt.Errorf("migration %s: number %d expected here, without gap or double", m.Name, i+1))
		}
		if !seen[m.Name+".down.sql"] {
			problems = append(problems, fmt.Errorf("migration %s: its .down.sql is missing", m.Name))
		}
	}
	if len(list) == 0 {
		problems = append(problems, errors.New("no migrations"))
	}
	return list, errors.Join(problems...)
}

var lineComment = regexp.MustCompile(`--[^\n]*`)

// checkText refuses CONCURRENTLY beside anything else: a file is sent as one statement string, which PostgreSQL runs in one
// transaction, where CREATE INDEX CONCURRENTLY is not allowed.
func checkText(sql string) error {
	sql = lineComment.ReplaceAllString(sql, "")
	if !strings.Contains(strings.ToUpper(sql), "CONCURRENTLY") {
		return nil
	}
	statements := 0
	for s := range strings.SplitSeq(sql, ";") {
		if strings.TrimSpace(s) != "" {
			statements++
		}
	}
	if statements > 1 {
		return errors.New("CONCURRENTLY needs a file of its own, with no other statement in it")
	}
	return nil
}
