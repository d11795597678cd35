package dive

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// profiled is an hour to 20 m with a profile of 50 minutes that began three minutes after the register's in.
func profiled() (*lastlightv1.Dive, *lastlightv1.DiveDiver) {
	x := &lastlightv1.DiveDiver{Person: "ane", Gas: &lastlightv1.GasMix{OxygenPercent: 32}, Profile: &lastlightv1.DiveProfile{
		AfterS: []uint32{0, 180, 2820}, DepthCm: []uint32{0, 2000, 0}, StartedAt: timestamppb.New(noon.Add(3 * time.Minute)),
	}}
	return &lastlightv1.Dive{
		Id: "d-1", Site: "north", Kind: "normal", EnteredAt: timestamppb.New(noon), OutAt: timestamppb.New(noon.Add(time.Hour)),
		MaxDepthM: proto.Float64(20), Zone: "cave", Divers: []*lastlightv1.DiveDiver{x},
	}, x
}

func TestProfileKeepsItsPlace(t *testing.T) {
	d, x := profiled()
	want := []facts.Sample{{Second: 180}, {Second: 360, DepthM: 20}, {Second: 3180}}
	if got := SinceEntry(x.Profile, d.EnteredAt.AsTime(), d.OutAt.AsTime()); !reflect.DeepEqual(got, want) {
		t.Errorf("since entry: %v, want %v", got, want)
	}
	// A profile that would end after the dive is moved back, not cut.
	x.Profile.StartedAt = timestamppb.New(noon.Add(30 * time.Minute))
	if got := SinceEntry(x.Profile, d.EnteredAt.AsTime(), d.OutAt.AsTime()); got[0].Second != 600 || got[2].Second != 3600 {
		t.Errorf("late profile lies at %v", got)
	}
}

// A diver reads one line, not one for each of a thousand samples.
func TestFaultOfManySamplesIsToldOnce(t *testing.T) {
	d, x := profiled()
	x.Profile.AfterS, x.Profile.DepthCm = []uint32{0, 180, 0, 0, 2640}, []uint32{0, 2500, 2600, 2550, 0}
	x.Profile.Gas = []uint32{0, 1, 2, 1, 0}
	err := Check(d, "dive.", noon.AddDate(0, 0, 2))
	var told *fault.Error
	if !errors.As(err, &told) {
		t.Fatalf("%v", err)
	}
	var fields []string
	for _, p := range told.Problems {
		fields = append(fields, p.Field)
	}
	want := []string{"dive.divers[0].profile.after_s[2]", "dive.divers[0].profile.gas[1]", "dive.divers[0].profile.depth_cm[2]"}
	if !slices.Equal(fields, want) {
		t.Errorf("told of %q, want %q", fields, want)
	}
}

func TestProfileProblems(t *testing.T) {
	for _, c := range []struct {
		name, says string
		change     func(*lastlightv1.DiveProfile)
	}{
		{"as it is", "", func(*lastlightv1.DiveProfile) {}},
		{"one list short", "not of one length", func(p *lastlightv1.DiveProfile) { p.DepthCm = p.DepthCm[:2] }},
		{"gas list short", "not of one length", func(p *lastlightv1.DiveProfile) { p.Gas = []uint32{0} }},
		{"standing clock", "in order of time", func(p *lastlightv1.DiveProfile) { p.AfterS[1] = 0 }},
		{"too deep", "deeper than the dive", func(p *lastlightv1.DiveProfile) { p.DepthCm[1] = 2101 }},
		{"no such gas", "no such gas", func(p *lastlightv1.DiveProfile) { p.Gas = []uint32{0, 1, 0} }},
		{"left in the water", "not end at the surface", func(p *lastlightv1.DiveProfile) { p.DepthCm[2] = 300 }},
		{"too long", "longer than the dive", func(p *lastlightv1.DiveProfile) { p.AfterS[2] = 4000 }},
		{"other day", "of another time than the dive", func(p *lastlightv1.DiveProfile) { p.StartedAt = timestamppb.New(noon.AddDate(0, 0, 1)) }},
	} {
		d, x := profiled()
		c.change(x.Profile)
		err := Check(d, "dive.", noon.AddDate(0, 0, 2))
		if c.says == "" {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}

func TestDisagreements(t *testing.T) {
	d, x := profiled()
	survey := &lastlightv1.Survey{Number: 2, Stations: []*lastlightv1.Station{{DepthM: proto.Float64(12)}}, Legs: []*lastlightv1.Leg{{DepthPoints: []*lastlightv1.DepthPoint{{DepthM: proto.Float64(19)}}}}}
	// In differs by 3 minutes, out by 7, the depth by 1 m of the survey's deepest point.
	want := []string{"out: 2026-03-01 12:53Z in the profile, 2026-03-01 13:00Z in the register"}
	if got := Disagreements(d, x, survey); !reflect.DeepEqual(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	survey.Legs = nil
	d.MaxDepthM = proto.Float64(25)
	x.Profile.StartedAt = timestamppb.New(noon.Add(-6 * time.Minute))
	got := strings.Join(Disagreements(d, x, survey), "\n")
	for _, says := range []string{"greatest depth: 20.00 m in the profile, 25 m", "survey 2 of north goes to 12 m", "in: 2026-03-01 11:54Z", "out: 2026-03-01 12:44Z"} {
		if !strings.Contains(got, says) {
			t.Errorf("not said: %s in\n%s", says, got)
		}
	}
}
