package screen

import (
	"testing"

	pb "lastlight/proto/lastlight/v1"
)

// What is not known is told with the command that records it, of the diver, cylinder or site that it is about.
func TestRecordWith(t *testing.T) {
	t.Parallel()
	about := func(kind, id, rule, path string) *pb.Finding {
		return &pb.Finding{Status: "indeterminate", Rule: rule, Path: path, Subject: &pb.FindingSubject{Kind: kind, Id: id}}
	}
	unseen := about("diver", "hugo", "diver.card", "divers[3].cards[0]")
	unseen.Records = []*pb.RecordRef{{Kind: "card", Id: "full"}}
	level := about("plan", "ring", "kit.lights", "plan.team")
	level.Code = "level_unknown"
	refused := about("diver", "hugo", "diver.card", "divers[3].cards")
	refused.Status = "refuse"
	dived := func(code string) *pb.Finding {
		f := about("diver", "hugo", "decompression.earlier_dives", "divers")
		f.Code, f.Records = code, []*pb.RecordRef{{Kind: "dive", Id: "d-41"}}
		return f
	}
	start := about("diver", "hugo", "decompression.computed", "plan.team[0]")
	start.Code = "start"
	for _, c := range []struct {
		f    *pb.Finding
		want string
	}{
		{about("plan", "ring", "watch.times", "plan.entry"), "lastlight plan update ring, then lastlight plan submit ring"},
		{about("plan", "ring", "watch.times", "site.zones"), "lastlight site update SITE"},
		{about("site", "spring", "site.reading", "site.readings"), "lastlight reading record spring"},
		{about("diver", "hugo", "diver.card", "divers[3].cards"), "lastlight card add hugo CARD; somebody else: lastlight card seen hugo CARD"},
		{unseen, "lastlight card seen hugo full, by somebody else"},
		{about("diver", "hugo", "diver.age", "divers[12].birth"), "lastlight person update hugo"},
		{about("diver", "hugo", "diver.medical", "divers[0].medical.examined"), "lastlight person medical hugo"},
		{about("cylinder", "c-1", "gas.analysis", "cylinders[0].analyses"), "lastlight analysis record c-1"},
		{about("cylinder", "c-1", "cylinder.marked", "cylinders[0]"), "lastlight cylinder update c-1"},
		{about("item", "reel-2", "kit.service", "plan.carries[4]"), "lastlight equipment service reel-2"},
		{about("plan", "ring", "plan.verification", "site.verifications"), ""},
		{about("plan", "ring", "plan.kind", ""), ""},
		{dived("no_gas"), "lastlight dive update d-41"},
		{dived("no_depth"), "lastlight dive update d-41"},
		{dived("profile"), "lastlight dive update d-41"},
		{dived("open"), "lastlight watch close d-41"},
		{dived("no_pressure"), "lastlight site update SITE, of that dive"},
		{dived("order"), ""},
		{start, ""},
		{level, ""},
		{refused, ""},
	} {
		if got := recordWith(c.f, "ring"); got != c.want {
			t.Errorf("%s of %s %s: %q, want %q", c.f.Path, c.f.Subject.Kind, c.f.Subject.Id, got, c.want)
		}
	}
}
