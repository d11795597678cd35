package facts

import (
	"fmt"

	"lastlight/engine/calendar"
	"lastlight/engine/facts"
	lastlightv1 "lastlight/proto/lastlight/v1"
)

// standing gives the service events that hold: one that a later event corrects is left out.
func standing(all []*lastlightv1.ServiceEvent) []*lastlightv1.ServiceEvent {
	corrected := map[string]bool{}
	for _, e := range all {
		corrected[e.Corrects] = true
	}
	var list []*lastlightv1.ServiceEvent
	for _, e := range all {
		if !corrected[e.Id] {
			list = append(list, e)
		}
	}
	return list
}

// recordedOn is the day on which an event was put on record; none where it is not known.
func recordedOn(e *lastlightv1.ServiceEvent, zone calendar.Zone) calendar.Day {
	if e.RecordedAt == nil {
		return calendar.Day{}
	}
	d, err := zone.Day(stamp(e.RecordedAt))
	if err != nil {
		return calendar.Day{}
	}
	return d
}

func (c converter) cylinder(cyl Cylinder, zone calendar.Zone) facts.Cylinder {
	r := cyl.Record
	out := facts.Cylinder{
		ID: r.Id, Name: fmt.Sprintf("%s (%s %s)", r.Id, r.Maker, r.Serial), Serial: r.Serial, Maker: r.Maker, Owner: c.pseudonymOrNone(r.Owner),
		VolumeL: r.WaterVolume.GetLitres(), RatedBar: r.WorkingPressure.GetBar(), Material: r.Material, Alloy: r.Alloy, Spec: r.Specification,
		Regime: r.Jurisdiction, Clean: orElse(r.OxygenClean, "unknown"), Version: r.Version,
		Made: mark(r.Manufactured), MadePlus: r.PlusAtManufacture, Disc: r.BurstDiscOnRecord, FirstService: mark(r.FirstServiceDay),
		RiskAssessment: mark(r.RiskAssessmentDay), HeavyUse: r.HeavyUse,
	}
	events := standing(r.ServiceEvents)
	for _, e := range events {
		kind := e.Kind
		if kind == "inspection" {
			kind = "visual"
		}
		event := facts.CylinderEvent{ID: e.Id, Kind: kind, On: mark(e.Date), Recorded: recordedOn(e, zone), NextDue: mark(e.NextDue), Eddy: e.EddyCurrent, Plus: e.Plus, Clears: e.Clears}
		if kind == "hydro" {
			// An eddy current examination entered by itself belongs to the hydro of its month.
			for _, x := range events {
				event.Eddy = event.Eddy || x.Kind == "eddy" && mark(x.Date).CompareCoarse(event.On) == 0
			}
		}
		out.Events = append(out.Events, event)
	}
	switch {
	case !cyl.QuarantinedAt.IsZero():
		out.Quarantined = &facts.Quarantine{Since: instant(cyl.QuarantinedAt), Reason: r.Quarantined}
	case r.Quarantined != "":
		out.Quarantined = &facts.Quarantine{Reason: r.Quarantined}
	}
	if f := cyl.LastFill; f != nil {
		out.FilledAt = stamp(f.FilledAt)
		in := zone
		if f.TimeZone != "" {
			if z, err := c.loadZone(f.TimeZone); err == nil {
				in = z
			}
		}
		if d, err := in.Day(out.FilledAt); err == nil {
			out.FilledOn = d
		}
		out.Fill = &facts.Fill{PartialPressure: f.Method == "partial_pressure", Compressor: c.instrument(f.Compressor, zone)}
	}
	for _, a := range cyl.Analyses {
		out.Analyses = append(out.Analyses, facts.Analysis{
			ID: a.Id, At: stamp(a.AnalysedAt), O2: a.OxygenPercent, He: orElse(a.HeliumPercent, "0"), By: c.pseudonymOrNone(a.AnalysedBy),
			Analyser: c.instrument(a.Analyser, zone), Calibrated: stamp(a.CalibratedAt), AirReading: a.AirReadingPercent,
		})
	}
	for _, h := range cyl.Handling {
		out.Handling = append(out.Handling, facts.Handling{Kind: h.Kind, At: instant(h.At)})
	}
	out.Lies = lies(cyl.Custody)
	return out
}

// lies tells where nobody holds the item; nil where somebody does.
func lies(e *lastlightv1.CustodyEvent) *facts.Lies {
	if e == nil || e.Kind != "lost" && e.Kind != "waiting_in_cave" {
		return nil
	}
	return &facts.Lies{Lost: e.Kind == "lost", Site: e.Site, Place: e.Place, Since: stamp(e.At)}
}

// instrument is an analyser or a compressor that a record names; nil where none is named or known.
func (c converter) instrument(id string, zone calendar.Zone) *facts.Item {
	for _, e := range c.r.Instruments {
		if id != "" && e.Record.Id == id {
			item := c.item(e, zone)
			return &item
		}
	}
	return nil
}

// itemKinds translates the register's words into the engine's.
var itemKinds = map[string]facts.ItemKind{
	"light_primary": facts.PrimaryLight, "light_backup": facts.BackupLight,
	"reel": facts.Reel, "spool": facts.Spool, "scooter": facts.Scooter,
}

func (c converter) item(e Equipment, zone calendar.Zone) facts.Item {
	r := e.Record
	kind, ok := itemKinds[r.Kind]
	if !ok {
		kind = facts.ItemKind(r.Kind)
	}
	item := facts.Item{
		ID: r.Id, Name: r.Id, Kind: kind, BurnMin: r.BurnMin, LengthM: r.LineM, Version: r.Version,
		Made: mark(r.Manufactured), DivesSince: e.DivesSince, Lies: lies(e.Custody),
	}
	if r.Quarantined != "" {
		item.Quarantined = &facts.Quarantine{Since: instant(e.QuarantinedAt), Reason: r.Quarantined}
	}
	for _, x := range standing(r.ServiceEvents) {
		item.Events = append(item.Events, facts.ItemEvent{Kind: x.Kind, On: mark(x.Date), Recorded: recordedOn(x, zone)})
	}
	return item
}

// countedItem is what a plan counts of a diver instead of naming it.
type countedItem struct {
	item facts.Item
	n    int
}

// counted are those of a diver: one item per diver and kind.
func counted(who string, d *lastlightv1.PlanDiver) (out []countedItem) {
	for _, k := range []struct {
		kind facts.ItemKind
		n    int32
	}{{facts.Marker, d.Markers}, {facts.Arrow, d.Arrows}, {facts.CuttingTool, d.CuttingTools}, {facts.Mask, d.Masks}} {
		if k.n > 0 {
			name := string(k.kind) + " of " + who
			out = append(out, countedItem{facts.Item{ID: name, Name: name, Kind: k.kind}, int(k.n)})
		}
	}
	return out
}

func (c converter) items(zone calendar.Zone) []facts.Item {
	var out []facts.Item
	for _, e := range c.r.Equipment {
		out = append(out, c.item(e, zone))
	}
	for _, d := range c.r.Plan.Team {
		for _, k := range counted(c.pseudonym(d.Person), d) {
			out = append(out, k.item)
		}
	}
	return out
}
