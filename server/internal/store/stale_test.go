package store

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/message"
)

// Every field that somebody can change either makes approved plans stale or is one that no judgement rests on: a field that is
// added is thought of here.
func TestEveryFieldMakesStaleOrIsNotJudged(t *testing.T) {
	for _, kind := range []struct {
		of       proto.Message
		reasons  map[string]string
		unjudged []string
	}{
		{&lastlightv1.Site{}, siteReasons, []string{"id", "title", "coarse_position", "exact_position", "access_notes", "gate_code", "notes"}},
		{&lastlightv1.Person{}, personReasons, []string{"id", "full_name", "short_name", "initials", "emergency_contacts", "telephone"}},
		{&lastlightv1.Cylinder{}, cylinderReasons, []string{"id", "serial", "maker", "owner", "thread", "notes"}},
		{&lastlightv1.CylinderSet{}, setReasons, []string{"id", "owner", "notes"}},
		{&lastlightv1.Equipment{}, equipmentReasons, []string{"id", "serial", "maker", "owner", "notes"}},
	} {
		fields := kind.of.ProtoReflect().Descriptor().Fields()
		name := kind.of.ProtoReflect().Descriptor().Name()
		var known []string
		for i := range fields.Len() {
			field := string(fields.Get(i).Name())
			known = append(known, field)
			judged := kind.reasons[field] != ""
			switch {
			case judged == slices.Contains(kind.unjudged, field) && !message.OutputOnly(fields.Get(i)):
				t.Errorf("%s.%s: has a reason: %v; it needs one, or to be said here not to be judged", name, field, judged)
			case judged && message.OutputOnly(fields.Get(i)) && field != "archived":
				t.Errorf("%s.%s is written by the server and never changed by a put", name, field)
			}
		}
		for field := range kind.reasons {
			if !slices.Contains(known, field) {
				t.Errorf("%s has no field %s", name, field)
			}
		}
	}
}
