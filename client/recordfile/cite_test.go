package recordfile

import (
	"bytes"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	pb "lastlight/proto/lastlight/v1"
)

// A policy is written with the clause of each cell as a comment over it, and reads as it was.
func TestPolicyIsWrittenWithItsSources(t *testing.T) {
	t.Parallel()
	citation := map[string]any{"document": "handbook", "edition": "2026", "section": "practice 2.2", "date_read": "2026-11-25"}
	document, err := structpb.NewStruct(map[string]any{
		"team":   map[string]any{"cover_required": true, "cutting_tools": 2},
		"ladder": []any{map[string]any{"name": "INT", "max_depth_m": 30}, map[string]any{"name": "FULL", "max_depth_m": 40}},
		"sources": []any{
			map[string]any{"path": "team.cutting_tools", "citation": citation},
			map[string]any{"path": "ladder", "citation": citation},
			map[string]any{"path": "ladder[FULL].max_depth_m", "citation": citation},
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	r := &pb.Record{Record: &pb.Record_Policy{Policy: &pb.Policy{Id: "p", Document: document}}}
	var out bytes.Buffer
	w := Writer{}
	if err := w.Write(&out, []*pb.Record{r}); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	const comment = "# handbook, 2026, practice 2.2; read 2026-11-25\n"
	if n := strings.Count(text, comment); n != 3 {
		t.Errorf("%d comments, want 3:\n%s", n, text)
	}
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.Contains(line, "cutting_tools:") && !strings.Contains(lines[i-1], "practice 2.2") {
			t.Errorf("nothing over %q:\n%s", line, text)
		}
	}
	f, problems := Read(Source{"p.yaml", out.Bytes()})
	if len(problems) > 0 || len(f.Records) != 1 || !proto.Equal(f.Records[0], r) {
		t.Errorf("it reads as something else: %v, %v", problems, f.Records)
	}
}
