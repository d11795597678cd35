package facts

import (
	"fmt"
	"slices"
	"time"

	"lastlight/engine/calendar"
	"lastlight/engine/consumption"
	"lastlight/engine/facts"
	"lastlight/engine/gas"
	"lastlight/engine/history"
	"lastlight/engine/policy"
	"lastlight/engine/water"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/dive"
)

// BreathedDive is one closed dive of a person with what its pressures rest on.
type BreathedDive struct {
	Record  *lastlightv1.Dive
	Place   *lastlightv1.Site  // its site: time zone, surface pressure and water
	Volumes map[string]float64 // litres of water of each set and cylinder that the register knows, by id
	Filled  bool               // a cylinder of this diver was filled between in and out
	Aside   bool               // an incident was reported on it
}

// Breathed is what a person's dives are to the engine. Zones are those of the
// dives' sites, as they were that year.
func Breathed(dives []BreathedDive, person string, load ZoneLoader) ([]consumption.Dive, error) {
	out := make([]consumption.Dive, 0, len(dives))
	type zoneOfYear struct {
		name string
		year int
	}
	zones := map[zoneOfYear]calendar.Zone{}
	for _, d := range dives {
		entered := d.Record.EnteredAt.AsTime()
		at := zoneOfYear{d.Place.TimeZone, entered.UTC().Year()}
		zone, known := zones[at]
		if !known {
			var err error
			if zone, err = load(at.name, at.year, at.year); err != nil {
				return nil, fmt.Errorf("dive %s: time zone %q: %w", d.Record.Id, at.name, err)
			}
			zones[at] = zone
		}
		day, err := zone.Day(instant(entered))
		if err != nil {
			return nil, fmt.Errorf("dive %s: %w", d.Record.Id, err)
		}
		for _, x := range d.Record.Divers {
			if x.Person == person {
				out = append(out, breathed(d, x, day))
			}
		}
	}
	return out, nil
}

func breathed(d BreathedDive, x *lastlightv1.DiveDiver, day calendar.Day) consumption.Dive {
	entered, left := d.Record.EnteredAt.AsTime(), d.Record.OutAt.AsTime()
	out := consumption.Dive{
		ID: d.Record.Id, Day: day, Water: waterOf(d.Place), Minutes: left.Sub(entered).Minutes(), MeanM: x.MeanDepthM, Stops: d.Record.RequiredStops, Aside: aside(d, x),
	}
	mains := consumption.Cylinder{
		ID: orElse(x.Mains, "the mains"), Way: wayOf(x.Way, x.Used), Mix: mixOf(x.Gas), VolumeL: d.volume(x.Mains, x.MainsVolumeL),
		StartBar: bar(x.StartPressure), EndBar: bar(x.EndPressure), StartC: x.StartTemperatureC, EndC: x.EndTemperatureC,
	}
	out.Cylinders = append(out.Cylinders, mains)
	for _, c := range x.Cylinders {
		way := mains.Way
		switch {
		case c.Kind == "deco":
			way = consumption.Decompression
		case c.Way != "":
			way = wayOf(c.Way, nil)
		}
		out.Cylinders = append(out.Cylinders, consumption.Cylinder{
			ID: c.Cylinder, Way: way, Mix: mixOf(c.Gas), VolumeL: d.volume(c.Cylinder, c.VolumeL),
			StartBar: bar(c.StartPressure), EndBar: bar(c.EndPressure), StartC: c.StartTemperatureC, EndC: c.EndTemperatureC,
		})
	}
	if x.Gas == nil {
		return out
	}
	out.Gases = append(out.Gases, *mixOf(x.Gas))
	for _, g := range x.OtherGases {
		if m := mixOf(g.Gas); m != nil {
			out.Gases = append(out.Gases, *m)
		}
	}
	for _, s := range dive.Samples(x.Profile) {
		out.Samples = append(out.Samples, consumption.Sample{Second: s.Second, DepthM: s.DepthM, Gas: s.Gas})
	}
	return out
}

// volume is the register's where it knows the cylinders, else what the dive says; 0: not known.
func (d *BreathedDive) volume(id string, said *float64) float64 {
	if v := d.Volumes[id]; v > 0 {
		return v
	}
	if said != nil {
		return *said
	}
	return 0
}

// wayOf is how the diver moved; "" to the engine where two ways were mixed.
func wayOf(said string, used []string) consumption.Way {
	switch {
	case said == "mixed":
		return ""
	case said != "":
		return consumption.Way(said)
	case slices.Contains(used, "DPV"):
		return consumption.Scooter
	}
	return consumption.Swimming
}

func mixOf(g *lastlightv1.GasMix) *gas.Mix {
	if g == nil {
		return nil
	}
	return &gas.Mix{O2: g.OxygenPercent / 100, He: g.HeliumPercent / 100}
}

// aside is what makes the pressures of a diver say nothing. Who gave gas and who
// took it is one event: one of them saying so is enough.
func aside(d BreathedDive, x *lastlightv1.DiveDiver) (why []consumption.Reason) {
	reasons := map[string]consumption.Reason{"shared": consumption.Shared, "lost": consumption.Lost, "filled": consumption.Filled, "other": consumption.SetAside}
	for _, e := range x.GasEvents {
		why = append(why, reasons[e])
	}
	own := map[string]bool{x.Mains: x.Mains != ""}
	for _, c := range x.Cylinders {
		own[c.Cylinder] = true
	}
	for _, y := range d.Record.Divers {
		if y.Person == x.Person {
			continue
		}
		both := own[y.Mains] || slices.ContainsFunc(y.Cylinders, func(c *lastlightv1.BreathedCylinder) bool { return own[c.Cylinder] })
		if both || slices.Contains(y.GasEvents, "shared") {
			why = append(why, consumption.Shared)
		}
	}
	if d.Filled {
		why = append(why, consumption.Filled)
	}
	if d.Aside {
		why = append(why, consumption.SetAside)
	}
	slices.Sort(why)
	return slices.Compact(why)
}

// waterOf is the water of a site; nil where it does not say its surface pressure.
func waterOf(s *lastlightv1.Site) *water.Column {
	var altitude, barometer *float64
	switch p := s.SurfacePressure.(type) {
	case *lastlightv1.Site_AltitudeM:
		altitude = &p.AltitudeM
	case *lastlightv1.Site_BarometerBar:
		barometer = &p.BarometerBar
	}
	w, _, ok := history.Column(barometer, altitude, &s.WaterDensity)
	if !ok {
		return nil
	}
	return &w
}

// ConsumptionRules are the policy's.
func ConsumptionRules(p *policy.Policy) consumption.Rules {
	return consumption.Rules{Dives: p.Consumption.Dives, Months: p.Consumption.WithinMonths}
}

// LearnedSince is the minute from which dives may count before an entry, days of
// month ends and zones included; the engine judges the exact day.
func LearnedSince(p *policy.Policy, entry time.Time) time.Time {
	return MonthsBack(entry, p.Consumption.WithinMonths)
}

// MonthsBack is a minute before everything that counts through its day and so
// many months on the day of an entry. Six days more: to go back from a 31st to a
// month without one lands up to three days late, and zones differ by more than one.
func MonthsBack(entry time.Time, months int) time.Time { return entry.AddDate(0, -months, -6) }

// consumption is that of a person on the day of the planned entry.
func (c converter) consumption(p Person, zone calendar.Zone) (*facts.Consumption, error) {
	dives, err := Breathed(p.Breathed, p.Record.Id, c.zone)
	if err != nil {
		return nil, err
	}
	on, err := zone.Day(stamp(c.r.Plan.PlannedEntry))
	if err != nil {
		return nil, err
	}
	var rates []consumption.Rate
	for _, d := range dives {
		of, _ := consumption.Read(d, gas.Model(c.r.Policy.Gas.Model))
		rates = append(rates, of...)
	}
	return Consumption(p.Record, consumption.Figures(rates, on, ConsumptionRules(&c.r.Policy))), nil
}

// Consumption is what is stated of a person and what their dives say; nil where neither says anything.
func Consumption(r *lastlightv1.Person, learned []consumption.Figure) *facts.Consumption {
	k := &facts.Consumption{RMVLMin: r.Consumption.GetLitresPerMinute(), WorstLMin: r.WorstConsumption.GetLitresPerMinute(), Origin: "declared"}
	for _, f := range learned {
		k.Learned = append(k.Learned, facts.LearnedRate{
			Way: string(f.Way), MedianLMin: consumption.Up(f.Median), WorstLMin: consumption.Up(f.Worst), Dives: f.Dives, First: f.First, Last: f.Last,
		})
	}
	if k.RMVLMin == 0 && k.WorstLMin == 0 && len(k.Learned) == 0 {
		return nil
	}
	return k
}
