// Package imports holds the test of who may know whom in this repository, and of what the engine may do.
package imports

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

func repository(t *testing.T) fs.FS {
	t.Helper()
	dir, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "go.mod")); err != nil {
		t.Fatal(err)
	}
	return os.DirFS(dir)
}

// violations reads every Go file and returns what breaks a rule, in order of files.
func violations(t *testing.T, tree fs.FS, rules []rule) []string {
	t.Helper()
	var found []string
	err := fs.WalkDir(tree, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && name != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") {
			return nil
		}
		text, err := fs.ReadFile(tree, name)
		if err != nil {
			return err
		}
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, name, text, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, r := range rules {
			if !r.binds(name) {
				continue
			}
			for _, what := range r.broken(file) {
				found = append(found, fmt.Sprintf("%s: %s; %s", files.Position(what.pos), what.text, r.reason))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func (r rule) binds(name string) bool {
	if !r.tests && strings.HasSuffix(name, "_test.go") {
		return false
	}
	in, ok := strings.CutPrefix(path.Dir(name)+"/", r.room+"/")
	return ok && !slices.ContainsFunc(r.except, func(e string) bool { return strings.HasPrefix(in, e+"/") })
}

type breach struct {
	pos  token.Pos
	text string
}

func (r rule) broken(file *ast.File) []breach {
	var found []breach
	report := func(at ast.Node, format string, args ...any) {
		found = append(found, breach{at.Pos(), fmt.Sprintf(format, args...)})
	}
	packages := map[string]string{} // by the name they have in this file
	for _, spec := range file.Imports {
		target, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			report(spec, "import %s", spec.Path.Value)
			continue
		}
		local := path.Base(target)
		if spec.Name != nil {
			local = spec.Name.Name
		}
		packages[local] = target
		if r.only != nil && !matches(r.only, target) || matches(r.never, target) {
			report(spec, "imports %s", target)
		}
		if local == "." && r.calls != nil {
			report(spec, "imports %s without its name", target)
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && packages[x.Name] != "" {
				if name := packages[x.Name] + "." + n.Sel.Name; slices.Contains(r.calls, name) {
					report(n, "uses %s", name)
				}
			}
		case *ast.GoStmt:
			if r.noChans {
				report(n, "starts a goroutine")
			}
		case *ast.ChanType, *ast.SelectStmt, *ast.SendStmt:
			if r.noChans {
				report(n, "uses a channel")
			}
		case *ast.CallExpr:
			if x, ok := n.Fun.(*ast.Ident); ok && r.noChans && (x.Name == "print" || x.Name == "println") {
				report(n, "calls %s", x.Name)
			}
		}
		return true
	})
	return found
}

func matches(patterns []string, target string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool {
		if p == "std/..." {
			first, _, _ := strings.Cut(target, "/")
			return !strings.Contains(first, ".") && first != "lastlight"
		}
		if below, ok := strings.CutSuffix(p, "/..."); ok {
			return target == below || strings.HasPrefix(target, below+"/")
		}
		return p == target
	})
}

// TestRulesBite shows that each rule refuses something: a rule that binds no file would pass for ever.
func TestRulesBite(t *testing.T) {
	t.Parallel()
	source := func(imports string, body ...string) *fstest.MapFile {
		text := "package x\n"
		for line := range strings.FieldsSeq(imports) {
			text += "import " + strconv.Quote(line) + "\n"
		}
		return &fstest.MapFile{Data: []byte(text + strings.Join(body, "\n"))}
	}
	for _, c := range []struct {
		name, want string
		file       *fstest.MapFile
	}{
		{"engine/gas/clock.go", "imports time", source("math time")},
		{"engine/gas/random.go", "imports math/rand", source("math/rand")},
		{"engine/gas/say.go", "uses fmt.Println", source("fmt", `func f() { fmt.Println("x") }`)},
		{"engine/gas/shout.go", "calls println", source("", `func f() { println("x") }`)},
		{"engine/gas/renamed.go", "uses fmt.Fprint", &fstest.MapFile{Data: []byte("package x\nimport f \"fmt\"\nvar g = f.Fprint")}},
		{"engine/gas/all.go", "starts a goroutine", source("", "func f() { go f() }")},
		{"engine/gas/chan.go", "uses a channel", source("", "func f(c chan int) {}")},
		{"engine/gas/select.go", "uses a channel", source("", "func f() { select {} }")},
		{"engine/gas/gas_test.go", "imports lastlight/server/internal/store", source("testing lastlight/server/internal/store")},
		{"proto/lastlight/v1/extra.go", "imports github.com/spf13/cobra", source("github.com/spf13/cobra")},
		{"migrations/run.go", "imports os", source("embed os")},
		{"client/internal/command/plan.go", "imports lastlight/engine/route", source("lastlight/engine/route")},
		{"server/internal/app/app.go", "imports lastlight/client/render", source("lastlight/client/render")},
		{"server/internal/app/start.go", "imports lastlight/deploy/postgres", source("lastlight/deploy/postgres")},
		{"server/internal/plan/plan.go", "imports github.com/jackc/pgx/v5", source("github.com/jackc/pgx/v5")},
		{"server/internal/store/plan.go", "imports google.golang.org/grpc/codes", source("google.golang.org/grpc/codes")},
		{"server/internal/site/site.go", "imports lastlight/server/internal/app", source("lastlight/server/internal/app")},
		{"server/internal/store/call.go", "imports lastlight/server/internal/rpc", source("lastlight/server/internal/rpc")},
		{"server/internal/rpc/config.go", "uses os.Getenv", source("os", `var x = os.Getenv("X")`)},
		{"server/internal/plan/now.go", "uses time.Now", source("time", "var now = time.Now")},
		{"deploy/postgres/run.go", "imports lastlight/server/internal/app", source("lastlight/server/internal/app")},
	} {
		found := violations(t, fstest.MapFS{c.name: c.file}, rules)
		if !slices.ContainsFunc(found, func(v string) bool { return strings.Contains(v, c.want) }) {
			t.Errorf("%s: %q was not found, only %q", c.name, c.want, found)
		}
	}
	fine := fstest.MapFS{
		"engine/gas/gas.go":              source("math lastlight/engine/unit", "func f(x float64) float64 { return math.Sqrt(x) }"),
		"engine/gas/table_test.go":       source("os testing encoding/json"),
		"client/cmd/lastlight/main.go":   source("os lastlight/proto/lastlight/v1 google.golang.org/grpc"),
		"server/internal/app/app.go":     source("os time github.com/jackc/pgx/v5/pgxpool lastlight/server/internal/store", "var now = time.Now"),
		"server/internal/store/plan.go":  source("github.com/jackc/pgx/v5 lastlight/server/internal/plan"),
		"server/internal/plan/plan.go":   source("time lastlight/engine/route"),
		"server/internal/storetest/a.go": source("testing lastlight/deploy/postgres github.com/jackc/pgx/v5/pgxpool"),
		"server/internal/rpc/plan.go":    source("lastlight/server/internal/plan lastlight/proto/lastlight/v1 google.golang.org/grpc/codes"),
	}
	for _, v := range violations(t, fine, rules) {
		t.Errorf("refused without need: %s", v)
	}
}
