package imports

import (
	"bytes"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestEngineRangesOverNoMap holds the engine to one order: what a loop over a map does depends on the run, unless somebody has
// thought about it. slices.Sorted(maps.Keys(m)) is the way; a loop whose order cannot matter says so in a comment that begins
// with "order:", on its line or the line above.
func TestEngineRangesOverNoMap(t *testing.T) {
	t.Parallel()
	files := token.NewFileSet()
	// The importer reads what the go command has compiled: it is told where by go list.
	exports := exported(t)
	compiled := importer.ForCompiler(files, "gc", func(path string) (io.ReadCloser, error) { return os.Open(exports[path]) })
	for dir, names := range enginePackages(t) {
		var parsed []*ast.File
		for _, name := range names {
			f, err := parser.ParseFile(files, filepath.Join(dir, name), nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, f)
		}
		info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
		config := types.Config{Importer: compiled}
		if _, err := config.Check(dir, files, parsed, info); err != nil {
			t.Fatal(err)
		}
		for _, f := range parsed {
			for _, pos := range mapLoops(files, f, info) {
				t.Errorf("%s: ranges over a map; sort its keys, or say after \"order:\" why the order cannot matter", files.Position(pos))
			}
		}
	}
}

// mapLoops finds the loops over maps, and over their keys and values unsorted, that no comment excuses.
func mapLoops(files *token.FileSet, f *ast.File, info *types.Info) []token.Pos {
	excused := map[int]bool{}
	for _, group := range f.Comments {
		for _, c := range group.List {
			if strings.HasPrefix(c.Text, "// order:") {
				line := files.Position(group.End()).Line
				excused[files.Position(c.Pos()).Line], excused[line+1] = true, true
			}
		}
	}
	var found []token.Pos
	report := func(n ast.Node) {
		if !excused[files.Position(n.Pos()).Line] {
			found = append(found, n.Pos())
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		loop, ok := n.(*ast.RangeStmt)
		if !ok {
			return true
		}
		if call, ok := loop.X.(*ast.CallExpr); ok {
			if of, ok := call.Fun.(*ast.SelectorExpr); ok {
				if x, ok := of.X.(*ast.Ident); ok && x.Name == "maps" && slices.Contains([]string{"All", "Keys", "Values"}, of.Sel.Name) {
					report(loop)
				}
			}
			return true
		}
		if _, ok := info.TypeOf(loop.X).Underlying().(*types.Map); ok {
			report(loop)
		}
		return true
	})
	return found
}

// enginePackages lists the files of each package of the engine, tests left out.
func enginePackages(t *testing.T) map[string][]string {
	t.Helper()
	packages := map[string][]string{}
	for line := range strings.Lines(list(t, "-f", `{{.Dir}}{{"\t"}}{{range .GoFiles}}{{.}} {{end}}`, "lastlight/engine/...")) {
		dir, names, _ := strings.Cut(strings.TrimSpace(line), "\t")
		packages[dir] = strings.Fields(names)
	}
	if len(packages) == 0 {
		t.Fatal("no packages of the engine")
	}
	return packages
}

// exported says where the go command keeps what each package exports.
func exported(t *testing.T) map[string]string {
	t.Helper()
	files := map[string]string{}
	for line := range strings.Lines(list(t, "-export", "-deps", "-f", `{{.ImportPath}}{{"\t"}}{{.Export}}`, "lastlight/engine/...")) {
		path, file, _ := strings.Cut(strings.TrimSpace(line), "\t")
		files[path] = file
	}
	return files
}

func list(t *testing.T, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", append([]string{"list"}, args...)...)
	var problems bytes.Buffer
	cmd.Stderr = &problems
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, &problems)
	}
	return string(out)
}

// TestMapLoopsBite shows what is found and what is not.
func TestMapLoopsBite(t *testing.T) {
	t.Parallel()
	const source = `package x
func f(m map[string]int, s []int) (n int) {
	for range s {}
	for _, v := range m { // line 4
		n += v
	}
	// order: a sum of whole numbers
	for _, v := range m {
		n += v
	}
	for range m { // order: a count
		n++
	}
	type named map[int]int
	for range (named{}) {} // line 15
	return
}`
	files := token.NewFileSet()
	f, err := parser.ParseFile(files, "x.go", source, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	if _, err := new(types.Config).Check("x", files, []*ast.File{f}, info); err != nil {
		t.Fatal(err)
	}
	var lines []int
	for _, pos := range mapLoops(files, f, info) {
		lines = append(lines, files.Position(pos).Line)
	}
	if !slices.Equal(lines, []int{4, 15}) {
		t.Errorf("found in lines %v, not 4 and 15", lines)
	}
}
