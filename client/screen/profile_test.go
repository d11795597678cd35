package screen

import (
	"testing"

	"lastlight/client/exit"
	pb "lastlight/proto/lastlight/v1"
)

// A dive of our own: 36 m, gas 1 from 21 m up, one dip that lasts ten seconds.
func TestProfileScreen(t *testing.T) {
	x := &pb.DiveDiver{
		Person: "ane", Gas: &pb.GasMix{OxygenPercent: 28}, OtherGases: []*pb.BreathedGas{{Gas: &pb.GasMix{OxygenPercent: 50}}},
		Profile: &pb.DiveProfile{
			StartedAt: at(9, 2),
			AfterS:    []uint32{0, 240, 600, 5, 5, 900, 300, 180, 600, 120},
			DepthCm:   []uint32{0, 3000, 3000, 3640, 3000, 2800, 2100, 600, 600, 0},
			Gas:       []uint32{0, 0, 0, 0, 0, 0, 1, 1, 1, 1},
		},
		Disagrees: []string{"depth: 36.40 m in the profile, survey 2 of hollow-spring goes to 34 m"},
	}
	d := &pb.Dive{Id: "d-41", Site: "hollow-spring", EnteredAt: at(9, 0), OutAt: at(9, 52), Divers: []*pb.DiveDiver{x}}
	screens(t, "profile", func(w View) error { return w.Profile(d, x) }, exit.Done)
	screens(t, "profile-none", func(w View) error { return w.Profile(d, &pb.DiveDiver{Person: "bo"}) }, exit.Done)
}
