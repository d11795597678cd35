package stories

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// said is what the register answers to a sign-out with these words.
func (c *club) said(person string, end float64, edit func(*pb.SignOutRequest)) (*pb.Watch, error) {
	r := &pb.SignOutRequest{Dive: "dive", EndPressure: bar(end), Symptoms: proto.Bool(false), RequestId: id()}
	if edit != nil {
		edit(r)
	}
	return c.dives().SignOut(c.as(person), r)
}

func diverOf(w *pb.Watch, person string) *pb.WatchDiver {
	for _, d := range w.GetDivers() {
		if d.Person == person {
			return d
		}
	}
	return nil
}

// fieldsOf are the fields about which an answer says that something is wrong.
func fieldsOf(err error) []string {
	var out []string
	for _, detail := range status.Convert(err).Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.FieldViolations {
				out = append(out, v.Field)
			}
		}
	}
	return out
}

// inTheWater enters the pool's two divers at 07:41, at 182.7 and 200 bar; it is 08:20.
func inTheWater(t *testing.T) *pool {
	c := newPool(t, "2026-06-08 07:30")
	c.reading("spring", c.at("2026-06-08 07:00"))
	p := c.approved("dive", "2026-06-08 07:40")
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(p, 1, 182.7, 200)
	c.clock.set(c.at("2026-06-08 08:20"))
	return c
}

// Cover's word ends the alarm for a diver, the diver's own word does not: who
// signed out and was not seen out is still looked for, is bound to the dive, and
// keeps it from being closed.
func TestSignedOutIsNotSeenOut(t *testing.T) {
	c := inTheWater(t)
	c.signOut("dive", "asta", false)
	w := c.signOut("dive", "birk", false)
	if w.AllSeenOut || !w.AllSignedOut || w.Split || w.Step == "out" || !strings.Contains(w.NextStep, "see Asta, Birk out (signed out, not seen out); else ") {
		t.Errorf("both signed out, none seen out: %v", w)
	}
	c.clock.set(w.Times.Dial.AsTime())
	if b := c.board().Watches; len(b) != 1 || b[0].Step != "call" {
		t.Errorf("at the dial time, nobody seen out, the board says %v", b)
	}
	if _, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "dive"}, RequestId: id()}); status.Code(err) != codes.FailedPrecondition || !strings.Contains(err.Error(), "not seen out yet by cover: asta, birk") {
		t.Errorf("closed without anybody seen out: %v", err)
	}
	c.mustSay(c.submit(c.plan("elsewhere", "2026-06-08 12:00")).Report, "Birk", "dive")

	if w := c.seenOut("dive", "asta"); w.AllSeenOut || w.Step != "call" {
		t.Errorf("one of two seen out: %v", w)
	}
	if w := c.seenOut("dive", "birk"); !w.AllSeenOut || w.Step != "out" {
		t.Errorf("both seen out: %v", w)
	}
	if _, err := c.dives().CloseDive(c.as("cover"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "dive", MaxDepthM: proto.Float64(10)}, RequestId: id()}); err != nil {
		t.Errorf("both seen out and signed out: %v", err)
	}
}

// What a diver said at the sign-out stands: the same again is nothing new,
// another word is refused until the first is taken back with a reason.
func TestWhatWasSaidAtSignOutStands(t *testing.T) {
	c := inTheWater(t)
	refused := func(what, field string, err error) {
		t.Helper()
		if all := fieldsOf(err); status.Code(err) != codes.InvalidArgument || !slices.Equal(all, []string{field}) {
			t.Errorf("%s: %v, want one problem, about %s", what, err, field)
		}
	}
	_, err := c.said("asta", 210, nil)
	refused("more gas after than before", "end_pressure", err)
	if n := c.watchFacts("signed_out"); n != 0 {
		t.Errorf("refused, yet %d sign-outs stand", n)
	}
	if _, err = c.said("asta", 120, nil); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-06-08 08:25"))
	w, err := c.said("asta", 120, nil)
	if err != nil || c.watchFacts("signed_out") != 1 || !diverOf(w, "asta").SignedOutAt.AsTime().Equal(c.at("2026-06-08 08:20")) {
		t.Errorf("the same word again: %v, %v", w, err)
	}
	_, err = c.said("asta", 110, nil)
	refused("another end pressure", "end_pressure", err)
	_, err = c.said("asta", 120, func(r *pb.SignOutRequest) { r.OutAt = stamp(c.at("2026-06-08 08:15")) })
	refused("another minute", "out_at", err)
	// A depth was not said before: it adds to what stands.
	if _, err = c.said("asta", 120, func(r *pb.SignOutRequest) { r.MaxDepthM = proto.Float64(9) }); err != nil {
		t.Errorf("a depth added: %v", err)
	}
	_, err = c.said("asta", 120, func(r *pb.SignOutRequest) { r.MaxDepthM = proto.Float64(19) })
	refused("another depth", "max_depth_m", err)

	// Taken back with its reason, the right word can be said.
	back, err := c.dives().CorrectWatch(c.as("cover"), &pb.CorrectWatchRequest{Dive: "dive", Person: "asta", What: "signed_out", Reason: "read Birk's gauge", RequestId: id()})
	if err != nil || diverOf(back, "asta").SignedOutAt != nil {
		t.Fatalf("taken back: %v, %v", back, err)
	}
	if _, err = c.said("asta", 95, nil); err != nil {
		t.Fatal(err)
	}
	c.seenOut("dive", "asta")
	c.seenOut("dive", "birk")
	c.signOut("dive", "birk", false)
	d, err := c.dives().CloseDive(c.as("cora"), &pb.CloseDiveRequest{Dive: &pb.Dive{Id: "dive", MaxDepthM: proto.Float64(10)}, RequestId: id()})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range d.Divers {
		if x.Person == "asta" && (x.EndPressure.GetBar() != 95 || x.MaxDepthM != nil) {
			t.Errorf("recorded: %v, want 95 bar and no depth, as said last", x)
		}
	}
}

// A minute at which cover saw a diver is not replaced by another word either.
func TestSeenOutAtOneMinute(t *testing.T) {
	c := inTheWater(t)
	at := func(minute string) error {
		_, err := c.dives().SeenOut(c.as("cover"), &pb.SeenOutRequest{Dive: "dive", Person: "asta", SeenAt: stamp(c.at(minute)), RequestId: id()})
		return err
	}
	if err := at("2026-06-08 08:15"); err != nil {
		t.Fatal(err)
	}
	if err := at("2026-06-08 08:15"); err != nil || c.watchFacts("seen_out") != 1 {
		t.Errorf("the same minute again: %v", err)
	}
	if err := at("2026-06-08 08:18"); status.Code(err) != codes.InvalidArgument {
		t.Errorf("another minute: %v", err)
	}
	c.seenOut("dive", "asta") // a second tap names no minute
}
