package stories

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
)

// A profile is attached to a recorded dive: where it differs from register and
// survey the answer says so, and a profile of another day is refused.
func TestProfileOfARecordedDive(t *testing.T) {
	c := newClub(t, "2026-06-08 09:00")
	if out := c.send("keeper", false, wholeFile(c)...); len(out.Problems) > 0 {
		t.Fatal(out.Problems)
	}
	get := func() *pb.Dive {
		d, err := c.dives().GetDive(c.as("keeper"), &pb.GetDiveRequest{Id: "dive-1"})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	d := get()
	x := d.Divers[0]
	x.Gas = &pb.GasMix{OxygenPercent: 32}
	x.Profile = &pb.DiveProfile{
		AfterS: []uint32{0, 180, 3000}, DepthCm: []uint32{0, 2050, 0}, StartedAt: stamp(d.EnteredAt.AsTime().Add(24 * time.Hour)),
	}
	update := func(d *pb.Dive) (*pb.Dive, error) {
		return c.dives().UpdateDive(c.as("keeper"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()})
	}
	if _, err := update(d); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a profile of the next day: %v", err)
	}
	x.Profile.StartedAt = stamp(d.EnteredAt.AsTime().Add(-20 * time.Minute))
	after, err := update(d)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(after.Divers[0].Disagrees, func(s string) bool { return strings.HasPrefix(s, "in: ") }) {
		t.Errorf("the difference of the times is not said: %q", after.Divers[0].Disagrees)
	}
	if d := get(); !proto.Equal(d.Divers[0].Profile, x.Profile) || len(d.Divers[0].Disagrees) == 0 {
		t.Errorf("read back: %v", d.Divers[0])
	}
}

// A list leaves profiles out and says so, to whoever sees the dive whole and to whoever does not; a dive sent back as listed keeps
// its profile, one sent back as read without it loses it.
func TestListsLeaveProfilesOut(t *testing.T) {
	c := divesListed(t)
	get := func() *pb.Dive {
		t.Helper()
		d, err := c.dives().GetDive(c.as("cora"), &pb.GetDiveRequest{Id: "told"})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	update := func(d *pb.Dive) {
		t.Helper()
		after, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version, RequestId: id()})
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(after.Divers, func(x *pb.DiveDiver) bool { return x.ProfileLeftOut }) {
			t.Errorf("the answer to a correction leaves something out: %v", after.Divers)
		}
	}
	d := get()
	profile := &pb.DiveProfile{AfterS: []uint32{0, 120, 2280}, DepthCm: []uint32{0, 990, 0}}
	d.Divers[1].Profile = profile
	update(d)
	var listed *pb.Dive
	for _, as := range []string{"cora", "dieter"} {
		all := c.listAll(as, &pb.ListDivesRequest{PageSize: 3})
		i := slices.IndexFunc(all, func(d *pb.Dive) bool { return d.Id == "told" })
		if i < 0 {
			t.Fatalf("not in the list of %s", as)
		}
		x := all[i].Divers
		if x[0].Profile != nil || x[1].Profile != nil || x[0].ProfileLeftOut || !x[1].ProfileLeftOut {
			t.Errorf("listed for %s: %v", as, x)
		}
		if as == "cora" {
			listed = all[i]
		}
	}
	update(listed)
	if x := get().Divers[1]; !proto.Equal(x.Profile, profile) || x.ProfileLeftOut {
		t.Errorf("sent back as listed: %v", x)
	}
	d = get()
	d.Divers[1].Profile = nil
	update(d)
	if x := get().Divers[1]; x.Profile != nil || x.ProfileLeftOut {
		t.Errorf("taken out: %v", x)
	}
}
