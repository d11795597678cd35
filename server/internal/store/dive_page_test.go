package store

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// A stored dive without its profiles, taken out of the bytes, is the dive without its profiles.
func TestProfilesAreLeftOutOfTheBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := &lastlightv1.Dive{Id: rapid.String().Draw(t, "id"), Site: "s", MaxDepthM: proto.Float64(20), Notes: rapid.String().Draw(t, "notes")}
		for range rapid.IntRange(0, 4).Draw(t, "divers") {
			x := &lastlightv1.DiveDiver{Person: rapid.StringMatching("[a-z]{1,9}").Draw(t, "person"), Gas: &lastlightv1.GasMix{OxygenPercent: 32}}
			if rapid.Bool().Draw(t, "profile") {
				x.Profile = &lastlightv1.DiveProfile{AfterS: rapid.SliceOfN(rapid.Uint32(), 2, 300).Draw(t, "after"), DepthCm: []uint32{0, 100}}
			}
			if rapid.Bool().Draw(t, "way") {
				x.Way = "scooter"
			}
			d.Divers = append(d.Divers, x)
		}
		record, err := proto.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		out, err := appendWithoutProfiles(nil, record)
		if err != nil {
			t.Fatal(err)
		}
		got := &lastlightv1.Dive{}
		if err := proto.Unmarshal(out, got); err != nil {
			t.Fatal(err)
		}
		LeaveProfilesOut(d)
		if !proto.Equal(got, d) || len(got.ProtoReflect().GetUnknown()) > 0 {
			t.Fatalf("from the bytes\n%v\nfrom the dive\n%v", got, d)
		}
	})
}
