package command

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	pb "lastlight/proto/lastlight/v1"
)

// tree calls visit for every command that a person can type.
func tree(c *cobra.Command, visit func(*cobra.Command)) {
	visit(c)
	for _, sub := range c.Commands() {
		if !sub.Hidden && sub.Name() != "help" {
			tree(sub, visit)
		}
	}
}

func newRoot(c *club) *cobra.Command {
	a := &app{Streams: Streams{Env: func(n string) string { return c.env[n] }}}
	return a.root()
}

// exampleFiles are the files that examples name, written from the samples.
func exampleFiles(t *testing.T, c *club) {
	t.Helper()
	club, err := os.ReadFile("../recordfile/testdata/club.yaml")
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{
		"club.yaml": string(club), "gear.yaml": string(club), "token": testToken + "\n",
		"dive.xml":     exampleDive(t),
		"members.csv":  "Member no;Name;Born\nM 17;Ane Holm;14.03.1988\n",
		"members.yaml": "kind: person\nfields: {id: \"{Member no}\", full_name: \"{Name}\", birth_day: \"{Born}\"}\nkeys: [id]\ndates: DMY\nseparator: \";\"\n",
	}
	ca, err := os.ReadFile(c.env["LASTLIGHT_CA"])
	if err != nil {
		t.Fatal(err)
	}
	files["club-ca.pem"] = string(ca)
	for file, message := range map[string]string{
		"site.yaml": "Site", "survey.yaml": "Survey", "loop.yaml": "Plan", "dive.yaml": "Dive", "policy.yaml": "Policy",
	} {
		r := &pb.Record{}
		m := r.ProtoReflect()
		for i := range m.Descriptor().Fields().Len() {
			fd := m.Descriptor().Fields().Get(i)
			if string(fd.Message().Name()) == message {
				m.Set(fd, protoreflect.ValueOfMessage(c.samples[fd.Message().FullName()].ProtoReflect()))
			}
		}
		var text strings.Builder
		w := recordfile.Writer{}
		if err := w.Write(&text, []*pb.Record{r}); err != nil {
			t.Fatal(err)
		}
		// The record itself, without "records:" and "- plan:".
		lines := strings.SplitN(text.String(), "\n", 3)
		files[file] = lines[2]
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(c.dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// splitLine splits a line as a shell does, as far as the examples need it.
func splitLine(line string) []string {
	var out []string
	var b strings.Builder
	quoted, any := false, false
	for _, r := range line {
		switch {
		case r == '"':
			quoted, any = !quoted, true
		case r == ' ' && !quoted:
			if b.Len() > 0 || any {
				out = append(out, b.String())
			}
			b.Reset()
			any = false
		default:
			b.WriteRune(r)
		}
	}
	if b.Len() > 0 || any {
		out = append(out, b.String())
	}
	return out
}

// TestEveryExampleRuns: each command has a Short text and an example, each
// example makes valid requests, and together they reach every call of the API.
func TestEveryExampleRuns(t *testing.T) {
	c := newClub(t)
	exampleFiles(t, c)
	t.Chdir(c.dir)
	passing := &pb.Report{Plan: "loop-1", PlanVersion: 2, Verdict: "pass", Hash: "aa", Findings: []*pb.Finding{{Key: "rule/plan:loop-1/ok/", Status: "pass"}}}
	c.say("SubmitPlan", &pb.SubmitPlanResponse{Report: passing})
	c.say("EvaluatePlan", passing)
	c.say("GetReport", passing)
	c.say("GetBrief", &pb.Brief{Plan: "loop-1", Text: "BRIEF", Valid: true})
	c.say("GetBestMix", &pb.BestMix{Found: true})
	c.say("GetBlendSheet", &pb.BlendSheet{Reachable: true, Makes: &pb.GasMix{OxygenPercent: 18, HeliumPercent: 45}})
	c.say("CheckGoodToGo", &pb.GoodToGo{Yes: true})
	c.say("SignIn", &pb.SignInResponse{Go: true, Watch: &pb.Watch{Dive: "d-41"}})
	for _, m := range []string{"ApprovePlan", "RefusePlan", "WaiveFinding", "CountersignWaiver", "WithdrawWaiver"} {
		c.say(m, &pb.DecideResponse{Decided: true})
	}
	c.say("CheckErasure", &pb.ErasurePreview{Person: "ane", Pseudonym: "P-222222", Hash: "aa"})
	c.say("RenewToken", &pb.IssuedToken{Secret: testToken})
	c.say("IssueToken", &pb.IssuedToken{Secret: "another-secret"})
	// A card of another name than the example's.
	person := proto.Clone(c.samples["lastlight.v1.Person"]).(*pb.Person)
	person.Cards[0].Id = "cav-2019"
	c.say("GetPerson", person)

	// A dive whose profile can be read and shown.
	profiled := diveOfTwo()
	profiled.Divers[0].Profile = &pb.DiveProfile{AfterS: []uint32{0, 60, 60}, DepthCm: []uint32{0, 500, 0}}
	profiled.Divers[0].Gas = &pb.GasMix{OxygenPercent: 32}
	c.say("GetDive", profiled)
	c.say("UpdateDive", profiled)

	ran := map[string]bool{}
	tree(newRoot(c), func(cmd *cobra.Command) {
		if cmd.Short == "" {
			t.Errorf("%s: no Short text", cmd.CommandPath())
		}
		if strings.TrimSpace(cmd.Example) == "" {
			t.Errorf("%s: no example", cmd.CommandPath())
		}
		for _, line := range strings.Split(strings.ReplaceAll(cmd.Example, "\\\n", ""), "\n") {
			line = strings.TrimSpace(line)
			if ran[line] {
				continue
			}
			ran[line] = true
			runExample(t, c, cmd.CommandPath(), line)
		}
	})
	called := map[string]bool{}
	for _, r := range c.requests {
		called[r.method] = true
		if r.token != "Bearer "+testToken {
			t.Errorf("%s: sent %q as authorization", r.method, r.token)
		}
	}
	for _, m := range allMethods() {
		if !called[string(m.Name())] {
			t.Errorf("no example calls %s", m.FullName())
		}
	}
}

func runExample(t *testing.T, c *club, path, line string) {
	t.Helper()
	args := splitLine(line)
	env := map[string]string{}
	for len(args) > 0 && strings.Contains(args[0], "=") {
		name, value, _ := strings.Cut(args[0], "=")
		env[name], args = value, args[1:]
	}
	if len(args) == 0 || args[0] != "lastlight" {
		t.Errorf("%s: example %q does not call lastlight", path, line)
		return
	}
	stdin := ""
	if i := slices.Index(args, "<"); i > 0 {
		raw, err := os.ReadFile(args[i+1])
		if err != nil {
			t.Error(err)
		}
		stdin, args = string(raw), args[:i]
	}
	if i := slices.Index(args, ">"); i > 0 {
		args = args[:i]
	}
	for _, as := range []string{"table", "tabs", "json"} {
		env["LASTLIGHT_AS"] = as
		if got := c.with(stdin, env, args[1:]...); got.code != exit.Done {
			t.Errorf("%s: %q as %s ends with %d:\n%s%s", path, line, as, got.code, got.out, got.err)
		}
	}
}

func allMethods() []protoreflect.MethodDescriptor {
	var out []protoreflect.MethodDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("lastlight.v1", func(fd protoreflect.FileDescriptor) bool {
		for i := range fd.Services().Len() {
			for j := range fd.Services().Get(i).Methods().Len() {
				out = append(out, fd.Services().Get(i).Methods().Get(j))
			}
		}
		return true
	})
	return out
}

// TestWritesCarryARequestID: the client repeats a call without one, as a read.
func TestWritesCarryARequestID(t *testing.T) {
	t.Parallel()
	methods := allMethods()
	if len(methods) < 80 {
		t.Fatalf("%d methods found", len(methods))
	}
	for _, m := range methods {
		read := false
		for _, prefix := range []string{"Get", "List", "Evaluate", "Check", "Compare", "Export", "WhoAmI"} {
			read = read || strings.HasPrefix(string(m.Name()), prefix)
		}
		if has := m.Input().Fields().ByName("request_id") != nil; has == read {
			t.Errorf("%s: request_id %v", m.FullName(), has)
		}
	}
}

func TestCompletions(t *testing.T) {
	c := newClub(t)
	for shell, want := range map[string]string{"bash": "__start_lastlight", "zsh": "#compdef lastlight", "fish": "complete -c lastlight"} {
		if got := c.run("completion", shell); got.code != exit.Done || !strings.Contains(got.out, want) {
			t.Errorf("%s: %d, no %q", shell, got.code, want)
		}
	}
	if got := c.run("__complete", "cylinder", "create", "--material", ""); !strings.Contains(got.out, "aluminium") {
		t.Errorf("values of a flag are not completed: %s", got.out)
	}
}

func TestHelpFitsThePage(t *testing.T) {
	c := newClub(t)
	var paths []string
	tree(newRoot(c), func(cmd *cobra.Command) { paths = append(paths, cmd.CommandPath()) })
	if len(paths) < 100 {
		t.Fatalf("%d commands", len(paths))
	}
	for _, p := range paths {
		got := c.run(append(strings.Fields(p)[1:], "--help")...)
		if got.code != exit.Done {
			t.Errorf("%s --help: %d %s", p, got.code, got.err)
		}
		// Examples are lines to copy, and cobra's own words about completion are its own.
		before, after, _ := strings.Cut(got.out, "Examples:")
		_, flags, _ := strings.Cut(after, "\n\n")
		for _, line := range strings.Split(before+flags, "\n") {
			if n := utf8.RuneCountInString(line); n > 80 && !strings.Contains(p, "completion") {
				t.Errorf("%s --help: %d columns: %s", p, n, line)
			}
		}
	}
	got := c.run("help", "exit-codes")
	for _, m := range exit.Meanings {
		if !strings.Contains(got.out, m.Name) {
			t.Errorf("help exit-codes lacks %q", m.Name)
		}
	}
}

// TestHelpIsBrokenOnce: a text that was broken by hand and again at 80 columns leaves one word on a line of its own.
func TestHelpIsBrokenOnce(t *testing.T) {
	tree(newRoot(newClub(t)), func(cmd *cobra.Command) {
		lines := strings.Split(cmd.Long, "\n")
		for i := 1; i < len(lines)-1; i++ {
			word, next := lines[i], lines[i+1]
			if word != "" && !strings.Contains(word, " ") && next != "" && !strings.HasPrefix(next, " ") {
				t.Errorf("%s: %q stands alone", cmd.CommandPath(), word)
			}
		}
	})
}
