package command

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"lastlight/client/exit"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// asTyped is how a problem with what was typed begins: a flag or an argument of the usage line; or it names the file that gives it.
var asTyped = regexp.MustCompile(`^(lastlight: )?(--[a-z0-9-]+: |[A-Z][A-Z_-]*: |nothing is given to record$)|; no flag gives it, the file of -f does$|^.* --help. shows how$`)

// Every command's example, with one flag left out at a time and with none at all: what is wrong is told by the flag that is
// missing, and never by the field or the block of the call behind it.
func TestMissingFlagsAreToldAsFlags(t *testing.T) {
	c := newClub(t)
	exampleFiles(t, c)
	t.Chdir(c.dir)
	told := map[string]bool{}
	ran := map[string]bool{}
	tree(newRoot(c), func(cmd *cobra.Command) {
		for _, line := range strings.Split(strings.ReplaceAll(cmd.Example, "\\\n", ""), "\n") {
			args := splitLine(strings.TrimSpace(line))
			if len(args) < 2 || args[0] != "lastlight" || slices.Contains(args, "<") || slices.Contains(args, ">") || args[1] == "sheet" || args[1] == "apply" {
				continue
			}
			for _, fewer := range without(args[1:]) {
				if at := strings.Join(fewer, " "); ran[at] {
					continue
				}
				ran[strings.Join(fewer, " ")] = true
				got := c.run(fewer...)
				if got.code == exit.Internal {
					t.Errorf("%q: %d %s", fewer, got.code, got.err)
				}
				if got.code != exit.Invalid {
					continue
				}
				for _, said := range strings.Split(strings.TrimSpace(got.err), "\n") {
					if strings.HasPrefix(said, " ") {
						if strings.Contains(said, "a block with") {
							t.Errorf("%q: %s", fewer, said)
						}
						continue
					}
					if !asTyped.MatchString(said) {
						t.Errorf("%q: %s", fewer, said)
					}
					told[strings.TrimPrefix(said, "lastlight: ")] = true
				}
			}
		}
	})
	for _, want := range []string{
		"--present-pressure: is missing", "--measured: is missing", "--compressor: is missing", "--read-at: is missing", "--oxygen-percent: is missing", "--issued-day: is missing",
		"nothing is given to record",
		"route: is missing; no flag gives it, the file of -f does",
	} {
		if !told[want] {
			t.Errorf("never told: %s", want)
		}
	}
}

// without gives a command line less one of its flags, each in turn, and less all of them.
func without(args []string) [][]string {
	var flags [][2]int
	first := len(args)
	for i := 0; i < len(args); i++ {
		if !strings.HasPrefix(args[i], "-") {
			continue
		}
		end := i + 1
		if end < len(args) && !strings.Contains(args[i], "=") && !strings.HasPrefix(args[end], "-") {
			end++
		}
		first = min(first, i)
		flags = append(flags, [2]int{i, end})
	}
	out := [][]string{slices.Clone(args[:first])}
	for _, f := range flags {
		out = append(out, slices.Concat(args[:f[0]], args[f[1]:]))
	}
	return out
}

// The example says how the missing value is typed, with its unit.
func TestMissingPressureHasAnExample(t *testing.T) {
	c := newClub(t)
	got := c.run("fill", "blend", "32", "220bar", "--water-volume", "12L", "--working-pressure", "232bar", "--present-gas", "32", "--oxygen-clean", "clean")
	const want = "lastlight: --present-pressure: is missing\n    read:     nothing\n    expected: pressure: 210bar or 3000psi (no unit: as set)\n`lastlight fill blend --help` shows how\n"
	if got.code != exit.Invalid || got.err != want {
		t.Errorf("%d %s", got.code, got.err)
	}
	got = c.run("gas", "check", "18/45x")
	if got.code != exit.Usage || !strings.HasPrefix(got.err, "lastlight: MIX: read ") {
		t.Errorf("%d %s", got.code, got.err)
	}
}

// What only the server can tell is told by the flag as well.
func TestServerSpeaksOfFlags(t *testing.T) {
	c := newClub(t)
	s, err := status.New(codes.InvalidArgument, "one thing is wrong with the input").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{
		{Field: "analysis.cylinder", Description: "no such cylinder"}, {Field: "analysis.oxygen_percent", Description: "not a percentage; read: 0.32 %"}, {Field: "analysis", Description: "there already"},
	}})
	if err != nil {
		t.Fatal(err)
	}
	c.answer("RecordAnalysis", func(proto.Message) (proto.Message, error) { return nil, s.Err() })
	got := c.run("analysis", "record", "c-1", "--analysed-at", "now", "--oxygen-percent", "0.32")
	for _, want := range []string{"\n  CYLINDER: no such cylinder", "\n  --oxygen-percent: not a percentage; read: 0.32 %", "\n  analysis: there already"} {
		if got.code != exit.Invalid || !strings.Contains(got.err, want) {
			t.Errorf("%d, lacks %q:\n%s", got.code, want, got.err)
		}
	}
	c.answer("UpdatePerson", func(proto.Message) (proto.Message, error) {
		s, err := status.New(codes.InvalidArgument, "x").WithDetails(&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: "person.cards[1].level", Description: "no such level"}}})
		if err != nil {
			return nil, err
		}
		return nil, s.Err()
	})
	if got := c.run("card", "add", "ane", "new", "--level", "FULLL", "--issued-day", "2024-03-02"); !strings.Contains(got.err, "\n  --level: no such level") {
		t.Errorf("%d %s", got.code, got.err)
	}
}

// A report names the command that records what is missing: each of them is one.
func TestRecordingCommandsExist(t *testing.T) {
	c := newClub(t)
	there := map[string]bool{}
	tree(newRoot(c), func(cmd *cobra.Command) { there[cmd.CommandPath()] = true })
	for _, text := range screen.RecordingCommands() {
		for _, part := range strings.Split(text, "lastlight ")[1:] {
			words := strings.Fields(strings.NewReplacer(",", " ", ";", " ").Replace(part))
			if len(words) < 2 || !there["lastlight "+words[0]+" "+words[1]] {
				t.Errorf("%q: there is no command lastlight %s", text, part)
			}
		}
	}
}

// With a fault of the file the server is asked for those that only it knows: one round for both.
func TestFaultsOfAFileAreToldInOneRound(t *testing.T) {
	c := newClub(t)
	path := filepath.Join(c.dir, "own.yaml")
	if err := os.WriteFile(path, []byte("reson: r\nbased_on: shipped-default\ndocument:\n  team: {cutting_tools: 99}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c.say("ApplyRecords", &pb.ApplyRecordsResponse{Problems: []*pb.Problem{
		{Field: "records[0].policy.id", Message: "a record in a file needs its id"},
		{Field: "records[0].policy.document.team.cutting_tools", Read: "99", Expected: "0 to 10 per diver", Message: "cannot be used"},
	}})
	got := c.run("policy", "create", "-f", path)
	for _, want := range []string{path + ":1:1: reson: unknown field\n", path + ":4:25: document.team.cutting_tools: cannot be used\n    read:     99\n    expected: 0 to 10 per diver\n", "2 problems"} {
		if got.code != exit.Invalid || !strings.Contains(got.err, want) {
			t.Errorf("ends with %d, lacks %q:\n%s", got.code, want, got.err)
		}
	}
	if asked := c.asked("ApplyRecords"); len(asked) != 1 || !asked[0].(*pb.ApplyRecordsRequest).DryRun || len(c.asked("CreatePolicy")) > 0 {
		t.Errorf("asked %v", asked)
	}
}
