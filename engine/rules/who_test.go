package rules

import (
	"testing"

	"lastlight/engine/enginetest"
	"lastlight/engine/finding"
)

// What the route model says of one of a diver's supplies is said of the cylinder.
func TestTheSubjectOfADiversSupply(t *testing.T) {
	in := enginetest.Expedition(10, 2, 10)
	c := Open(&in)
	for _, text := range []string{"diver1-stage", in.Plan.Team[0].Diver + " diver1-stage"} {
		if s, other := c.who(text); s.Kind != finding.KindCylinder || s.ID != "diver1-stage" || other != nil {
			t.Errorf("%q is told of %+v", text, s)
		}
	}
	if s, _ := c.who(in.Plan.Team[0].Diver); s.Kind != finding.KindDiver {
		t.Errorf("a diver is told of %+v", s)
	}
}
