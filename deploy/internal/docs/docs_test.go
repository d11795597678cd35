package docs

import (
	"bytes"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"lastlight/deploy/internal/quickstart"
	"lastlight/deploy/internal/tour"
)

const top = "../../.."

// documents are all Markdown files of the repository, by path below its top.
func documents(t *testing.T) map[string]string {
	t.Helper()
	found := map[string]string{}
	err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." && path != top {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".md") {
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(top, path)
		found[name] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if found["README.md"] == "" {
		t.Fatal("no README.md")
	}
	return found
}

func TestLinksAndPathsLeadSomewhere(t *testing.T) {
	t.Parallel()
	all := documents(t)
	for name, text := range all {
		_, links := Read(text)
		for _, l := range links {
			if strings.Contains(l.Target, "://") || strings.HasPrefix(l.Target, "mailto:") {
				continue // checks need nothing from the network
			}
			file, anchor, _ := strings.Cut(l.Target, "#")
			path := filepath.Join(filepath.Dir(name), file)
			switch {
			case l.Path:
				path = filepath.Clean(file)
			case file == "":
				path = name
			}
			if _, err := os.Stat(filepath.Join(top, path)); err != nil {
				t.Errorf("%s:%d: %s is not there", name, l.Line, l.Target)
				continue
			}
			if anchor != "" && !slices.ContainsFunc(strings.Split(all[path], "\n"), func(line string) bool {
				return strings.HasPrefix(line, "#") && Anchor(line) == anchor
			}) {
				t.Errorf("%s:%d: %s has no heading #%s", name, l.Line, path, anchor)
			}
		}
	}
}

// TestCommandsAreRun holds that whatever a document tells its reader to type is run by a test: by the tour, by every quickstart,
// or here.
func TestCommandsAreRun(t *testing.T) {
	t.Parallel()
	script, err := os.ReadFile(filepath.Join(top, "testdata", "demo", "tour"))
	if err != nil {
		t.Fatalf("nothing runs the commands: %v", err)
	}
	steps, err := tour.Parse(string(script), "lastlight")
	if err != nil {
		t.Fatal(err)
	}
	programs := build(t)
	for name, text := range documents(t) {
		commands, _ := Read(text)
		for _, c := range commands {
			words, err := tour.Split(c.Text)
			if err != nil {
				t.Errorf("%s:%d: %v", name, c.Line, err)
				continue
			}
			if problem := check(t, words, c.Named, steps, programs); problem != "" {
				t.Errorf("%s:%d: %s: %s", name, c.Line, c.Text, problem)
			}
		}
	}
}

func build(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	cmd := exec.Command("go", "build", "-o", dir+"/", "./server/cmd/lastlightd", "./client/cmd/lastlight")
	cmd.Dir = top
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return map[string]string{"lastlight": filepath.Join(dir, "lastlight"), "lastlightd": filepath.Join(dir, "lastlightd")}
}

// check returns what is wrong with a command, "" if nothing is.
func check(t *testing.T, words []string, named bool, steps []tour.Step, programs map[string]string) string {
	t.Helper()
	asks := slices.Contains(words, "--help") || len(words) > 1 && slices.Contains([]string{"help", "completion", "config", "version"}, words[1])
	switch program := words[0]; {
	case programs[program] != "" && asks:
		return runs(t, programs[program], words[1:])
	case program == "lastlight":
		if !slices.ContainsFunc(steps, func(s tour.Step) bool {
			argv := s.Argv
			if named {
				argv = argv[:min(len(words), len(argv))]
			}
			return slices.Equal(argv, words)
		}) {
			return "the tour, testdata/demo/tour, does not run it in these words"
		}
	case program == "lastlightd":
		if !quickstart.UsesServerCommand(words[1:]) {
			return "no run uses it in these words"
		}
	case strings.HasPrefix(program, "./deploy/"):
		info, err := os.Stat(filepath.Join(top, program))
		if err != nil || info.Mode()&0o111 == 0 {
			return "no such program"
		}
	case program == "go" && len(words) > 1 && (words[1] == "test" || words[1] == "build" || words[1] == "vet"):
		list := []string{"list"}
		for _, w := range words[2:] {
			if strings.HasPrefix(w, "./") {
				list = append(list, w)
			}
		}
		return runs(t, "go", list)
	}
	return "" // programs of others
}

func runs(t *testing.T, program string, args []string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), program, args...)
	cmd.Dir = top
	cmd.Env = append(os.Environ(), "HOME="+t.TempDir())
	if filepath.Base(program) == "go" {
		cmd.Env = os.Environ()
	}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Run(); err != nil {
		return err.Error() + "\n" + out.String()
	}
	return ""
}

func TestRead(t *testing.T) {
	t.Parallel()
	commands, links := Read(strings.Join([]string{
		"Run `lastlight site list` or see [the map](MAP.md#rooms) and `engine/gas`; `lastlight` alone is a name.",
		"    lastlight not code, a paragraph goes on",
		"",
		"    lastlight apply -f x.yaml # adds it",
		"    output of it",
		"",
		"```sh",
		"$ ./deploy/test",
		"```",
		"`go test ./engine/...` and `[no](link)`",
	}, "\n"))
	wantCommands := []Command{{1, "lastlight site list", true}, {4, "lastlight apply -f x.yaml", false}, {8, "./deploy/test", false}, {10, "go test ./engine/...", true}}
	if !slices.Equal(commands, wantCommands) {
		t.Errorf("commands %v, not %v", commands, wantCommands)
	}
	if wantLinks := []Link{{1, "engine/gas", true}, {1, "MAP.md#rooms", false}}; !slices.Equal(links, wantLinks) {
		t.Errorf("links %v, not %v", links, wantLinks)
	}
	if got := Anchor("## What it does *not* do: 1st"); got != "what-it-does-not-do-1st" {
		t.Errorf("anchor %s", got)
	}
}
