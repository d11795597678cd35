package rpc

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// reference is one record that another names.
type reference struct{ field, kind, id string }

// referencesOf lists what a record names by key. The database holds the same by
// its foreign keys; this finds all that are broken at once, with their place.
func referencesOf(m proto.Message) []reference {
	var out []reference
	to := func(kind, id, field string, args ...any) {
		if id != "" {
			out = append(out, reference{fmt.Sprintf(field, args...), kind, id})
		}
	}
	switch m := m.(type) {
	case *lastlightv1.Person:
		to("person", m.Guardian, "guardian")
		for i, a := range m.Reassessments {
			to("person", a.AssessedBy, "reassessments[%d].assessed_by", i)
		}
	case *lastlightv1.Survey:
		to("site", m.Site, "site")
	case *lastlightv1.Reading:
		to("site", m.Site, "site")
	case *lastlightv1.Permit:
		to("site", m.Site, "site")
	case *lastlightv1.Cylinder:
		to("person", m.Owner, "owner")
	case *lastlightv1.Equipment:
		to("person", m.Owner, "owner")
	case *lastlightv1.CylinderSet:
		to("person", m.Owner, "owner")
		for i, c := range m.Cylinders {
			to("cylinder", c, "cylinders[%d]", i)
		}
	case *lastlightv1.Fill:
		to("cylinder", m.Cylinder, "cylinder")
		to("equipment", m.Compressor, "compressor")
	case *lastlightv1.CustodyEvent: // its item may be a cylinder or equipment
		to("person", m.Holder, "holder")
		to("site", m.Site, "site")
	case *lastlightv1.Analysis: // its cylinder may be a serial
		to("person", m.AnalysedBy, "analysed_by")
		to("equipment", m.Analyser, "analyser")
	case *lastlightv1.Expedition:
		for i, s := range m.Sites {
			to("site", s, "sites[%d]", i)
		}
		for i, p := range m.Participants {
			to("person", p.Person, "participants[%d].person", i)
		}
	case *lastlightv1.RoleGrant:
		to("person", m.Person, "person")
		to("expedition", m.Expedition, "expedition")
		to("person", m.OfPerson, "of_person")
	case *lastlightv1.Plan:
		to("site", m.Site, "site")
		to("expedition", m.Expedition, "expedition")
		to("person", m.Leader, "leader")
		to("person", m.Cover, "cover")
		for i, d := range m.Team {
			to("person", d.Person, "team[%d].person", i)
			to("cylinder_set", d.Mains, "team[%d].mains", i)
			for j, s := range d.Stages {
				to("cylinder", s.Cylinder, "team[%d].stages[%d].cylinder", i, j)
			}
			for j, e := range d.Equipment {
				to("equipment", e, "team[%d].equipment[%d]", i, j)
			}
		}
		for i, p := range m.Standby {
			to("person", p, "standby[%d]", i)
		}
	case *lastlightv1.Dive:
		to("site", m.Site, "site")
		to("plan", m.Plan, "plan")
		to("expedition", m.Expedition, "expedition")
		to("person", m.Cover, "cover")
		for i, d := range m.Divers {
			to("person", d.Person, "divers[%d].person", i)
		}
		for i, l := range m.Left {
			to("person", l.Owner, "left[%d].owner", i)
		}
	case *lastlightv1.Incident:
		to("site", m.Site, "site")
		to("dive", m.Dive, "dive")
		for i, p := range m.People {
			to("person", p, "people[%d]", i)
		}
	}
	return out
}

// itemsOf lists what a record names of the gear, which may be of several kinds: referencesOf leaves these to the register.
func itemsOf(m proto.Message) []reference {
	switch m := m.(type) {
	case *lastlightv1.Analysis:
		return []reference{{"cylinder", "cylinder", m.Cylinder}, {"cylinder", "serial", m.Cylinder}}
	case *lastlightv1.CustodyEvent:
		return []reference{{"item", "cylinder", m.Item}, {"item", "equipment", m.Item}, {"items[0]", "cylinder", m.Item}, {"items[0]", "equipment", m.Item}}
	}
	return nil
}
