package command

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/client/divefile"
	"lastlight/client/exit"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

// diverOf finds whose profile is meant: the one named, or the only one there is.
func diverOf(d *pb.Dive, person string) (*pb.DiveDiver, error) {
	var names []string
	for _, x := range d.GetDivers() {
		if x.GetPerson() == person || person == "" && len(d.GetDivers()) == 1 {
			return x, nil
		}
		names = append(names, x.GetPerson())
	}
	if person == "" {
		return nil, exit.Errorf(exit.Usage, "dive %s has several divers; --person says whose profile: %s", d.GetId(), strings.Join(names, ", "))
	}
	return nil, exit.Errorf(exit.Invalid, "%s is no diver of dive %s: %s", person, d.GetId(), strings.Join(names, ", "))
}

func (a *app) getDive(ctx context.Context, id string) (*pb.Dive, pb.DiveServiceClient, error) {
	conn, err := a.dial()
	if err != nil {
		return nil, nil, err
	}
	c := pb.NewDiveServiceClient(conn)
	d, err := c.GetDive(ctx, &pb.GetDiveRequest{Id: id})
	return d, c, err
}

// ofDiver completes a command about one diver of a dive.
func (a *app) ofDiver(cmd *cobra.Command, do func(context.Context, *pb.Dive, *pb.DiveDiver) error) *cobra.Command {
	person := cmd.Flags().String("person", "", "whose profile; may be left out where one dived alone")
	cmd.Args = arity(1, 1)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		d, _, err := a.getDive(cmd.Context(), args[0])
		if err != nil {
			return err
		}
		x, err := diverOf(d, *person)
		if err != nil {
			return err
		}
		return do(cmd.Context(), d, x)
	}
	return cmd
}

// showProfile shows the depth of one diver against time.
func (a *app) showProfile() *cobra.Command {
	return a.ofDiver(&cobra.Command{
		Use: "profile DIVE", Short: "Show a diver's depth against time",
		Example: "  lastlight dive profile d-41 --person ane",
	}, func(ctx context.Context, d *pb.Dive, x *pb.DiveDiver) error {
		return a.answer(ctx, x, func(w screen.View) error { return w.Profile(d, x) })
	})
}

// readProfile attaches a recorded profile to a dive of the register.
func (a *app) readProfile() *cobra.Command {
	var id, person, began string
	var number int
	cmd := &cobra.Command{
		Use: "read-profile FILE", Short: "Attach the profile of a file to a recorded dive", Args: arity(1, 1),
		Long: screen.Hang("FILE is in the open XML format for dive data (UDDF 3); - is stdin. The dive keeps its times and depths; where the profile "+
			"differs from them, or from the survey, the answer says so. Gases are those the dive records; where it records none, the file's. "+
			"The same file again changes nothing.", 0),
		Example: "  lastlight dive read-profile dive.xml --dive d-41 --person ane",
	}
	cmd.Flags().StringVar(&id, "dive", "", "dive of the register (required)")
	cmd.Flags().StringVar(&person, "person", "", "whose profile; may be left out where one dived alone")
	cmd.Flags().IntVar(&number, "number", 0, "which dive of the file, from 1; may be left out where it holds one")
	cmd.Flags().StringVar(&began, "began", "", "when the profile began, RFC 3339, where the clock that recorded it was wrong")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if id == "" {
			return usage(cmd, fmt.Errorf("--dive says to which dive of the register the profile belongs"))
		}
		from, err := a.oneDive(args[0], number)
		if err != nil {
			return err
		}
		d, c, err := a.getDive(cmd.Context(), id)
		if err != nil {
			return err
		}
		x, err := diverOf(d, person)
		if err != nil {
			return err
		}
		start := from.Started
		switch {
		case began != "":
			if start, err = time.Parse(time.RFC3339, began); err != nil {
				return usage(cmd, fmt.Errorf("--began %q is no time as 2026-03-01T10:20:00Z", began))
			}
		case !from.Zoned: // the clock on the wall at the site
			start = time.Date(start.Year(), start.Month(), start.Day(), start.Hour(), start.Minute(), start.Second(), 0, a.zone(cmd.Context(), d.GetSite()))
		}
		said := x.Disagrees
		x.Disagrees = nil
		before := proto.Clone(d)
		if err := attach(x, from, start); err != nil {
			return exit.With(exit.Invalid, err)
		}
		a.contents(x, from)
		if proto.Equal(before, d) {
			x.Disagrees = said
			a.note("dive %s holds this profile already; nothing is changed", id)
			return a.answer(cmd.Context(), x, func(w screen.View) error { return w.Profile(d, x) })
		}
		req := &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.GetVersion()}
		a.stamp(req)
		if err := (typed{cmd: cmd}).check(req); err != nil {
			return err
		}
		after, err := c.UpdateDive(cmd.Context(), req)
		if err != nil {
			return err
		}
		if x, err = diverOf(after, x.GetPerson()); err != nil {
			return err
		}
		return a.answer(cmd.Context(), x, func(w screen.View) error { return w.Profile(after, x) })
	}
	return cmd
}

// oneDive reads a file and picks a dive of it.
func (a *app) oneDive(path string, number int) (divefile.Dive, error) {
	in := a.In
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return divefile.Dive{}, exit.With(exit.Invalid, err)
		}
		defer f.Close()
		in = f
	}
	dives, err := divefile.Read(in)
	switch {
	case err != nil:
		return divefile.Dive{}, exit.Errorf(exit.Invalid, "%s: %w", path, err)
	case number == 0 && len(dives) == 1:
		return dives[0], nil
	case number < 1 || number > len(dives):
		return divefile.Dive{}, exit.Errorf(exit.Usage, "%s holds %d dives: --number 1 to %d says which", path, len(dives), len(dives))
	}
	return dives[number-1], nil
}

// attach puts a profile of a file into a diver's record.
func attach(x *pb.DiveDiver, from divefile.Dive, start time.Time) error {
	named := false
	for _, s := range from.Samples {
		named = named || s.Changed
	}
	if !named && x.GetGas() == nil {
		return fmt.Errorf("the file names no gas and the dive records none for %s: record the gas first; none is assumed", x.GetPerson())
	}
	fill := x.GetGas() == nil
	p := &pb.DiveProfile{StartedAt: timestamppb.New(start.UTC())}
	var before int64
	for i, s := range from.Samples {
		gas := 0
		if named {
			var known bool
			if gas, known = gasOf(x, s.Mix, fill); !known {
				return fmt.Errorf("waypoint %d breathes %g/%g, which is not among the gases that the dive records for %s: correct the dive or the file", i+1, s.Mix.O2, s.Mix.He, x.GetPerson())
			}
		}
		second := int64(math.Round(s.Second))
		if i > 0 && second == before { // The record holds whole seconds.
			p.DepthCm[len(p.DepthCm)-1] = max(p.DepthCm[len(p.DepthCm)-1], centimetres(s.DepthM))
			p.Gas[len(p.Gas)-1] = uint32(gas)
			continue
		}
		p.AfterS = append(p.AfterS, uint32(second-before))
		p.DepthCm = append(p.DepthCm, centimetres(s.DepthM))
		p.Gas = append(p.Gas, uint32(gas))
		before = second
	}
	if slices.Max(p.Gas) == 0 {
		p.Gas = nil
	}
	x.Profile = p
	return nil
}

// contents fills in what the cylinders held where the record does not say; what
// differs is told, and the record stands. A cylinder of the file is the mains, or
// the one stage or deco cylinder on record with its gas.
func (a *app) contents(x *pb.DiveDiver, from divefile.Dive) {
	filled := false
	for _, t := range from.Tanks {
		gas := 0
		if t.Mix != nil {
			var known bool
			if gas, known = gasOf(x, *t.Mix, false); !known {
				a.note("a cylinder of %g/%g in the file is left out: the dive records no such gas", t.Mix.O2, t.Mix.He)
				continue
			}
		} else if len(from.Tanks) > 1 {
			continue // Nothing says which cylinder it is.
		}
		if gas == 0 {
			if filled {
				continue // A further cylinder of the mains' gas: nothing says which.
			}
			filled = true
			a.gauges("", t, &x.StartPressure, &x.EndPressure)
			if x.GetMains() == "" && x.MainsVolumeL == nil {
				x.MainsVolumeL = t.Litres
			}
			continue
		}
		var of []*pb.BreathedCylinder
		for _, c := range x.GetCylinders() {
			if sameGas(c.GetGas(), *t.Mix) {
				of = append(of, c)
			}
		}
		if len(of) != 1 {
			a.note("a cylinder of %g/%g in the file is left out: the dive records %d stages and deco cylinders of that gas", t.Mix.O2, t.Mix.He, len(of))
			continue
		}
		a.gauges(of[0].GetCylinder()+": ", t, &of[0].StartPressure, &of[0].EndPressure)
	}
}

// gauges fills in the pressures of one cylinder.
func (a *app) gauges(of string, t divefile.Tank, start, end **pb.Pressure) {
	for _, p := range []struct {
		what   string
		file   *float64
		record **pb.Pressure
	}{{"start", t.BeginBar, start}, {"end", t.EndBar, end}} {
		switch {
		case p.file == nil:
		case *p.record == nil:
			*p.record = &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: *p.file}}
		case math.Abs((*p.record).GetBar()-*p.file) > gaugeSlack:
			a.note("%s%s pressure: %.0f bar in the file, %.0f bar in the register; the register stands", of, p.what, *p.file, (*p.record).GetBar())
		}
	}
}

// gaugeSlack is how far two gauges may differ before it is told, bar.
const gaugeSlack = 5

// gasOf is the place of a gas among those of a diver: 0 the mains'. A gas
// that is not there is added where fill says so.
func gasOf(x *pb.DiveDiver, m divefile.Mix, fill bool) (int, bool) {
	if sameGas(x.GetGas(), m) {
		return 0, true
	}
	for i, g := range x.GetOtherGases() {
		if sameGas(g.GetGas(), m) {
			return i + 1, true
		}
	}
	if !fill {
		return 0, false
	}
	mix := &pb.GasMix{OxygenPercent: m.O2, HeliumPercent: m.He}
	if x.Gas == nil {
		x.Gas = mix
		return 0, true
	}
	x.OtherGases = append(x.OtherGases, &pb.BreathedGas{Gas: mix})
	return len(x.OtherGases), true
}

// sameGas tells whether a gas on record is that of a file: labels and computers round.
func sameGas(g *pb.GasMix, m divefile.Mix) bool {
	const slack = 0.5 // per cent
	return g != nil && math.Abs(g.GetOxygenPercent()-m.O2) <= slack && math.Abs(g.GetHeliumPercent()-m.He) <= slack
}

// centimetres of a depth, rounded to the deeper side.
func centimetres(m float64) uint32 { return uint32(math.Ceil(m*100 - 1e-6)) }

// writeProfile writes a diver's profile as a file for others.
func (a *app) writeProfile() *cobra.Command {
	return a.ofDiver(&cobra.Command{
		Use: "write-profile DIVE", Short: "Write a diver's profile as a file for others",
		Long: screen.Hang("Writes the open XML format for dive data (UDDF 3) to standard output: time, depth, gases and pressures. The file names "+
			"no person, no site and no position, and holds nothing medical.", 0),
		Example: "  lastlight dive write-profile d-41 --person ane > dive.xml",
	}, func(_ context.Context, d *pb.Dive, x *pb.DiveDiver) error {
		if x.GetProfile() == nil {
			return exit.Errorf(exit.Invalid, "dive %s holds no profile of %s", d.GetId(), x.GetPerson())
		}
		return divefile.Write(a.Out, forFile(d, x), a.Now())
	})
}

// forFile unpacks a diver's record into a dive of a file.
func forFile(d *pb.Dive, x *pb.DiveDiver) divefile.Dive {
	gases := []*pb.GasMix{x.GetGas()}
	for _, g := range x.GetOtherGases() {
		gases = append(gases, g.GetGas())
	}
	mix := func(i uint32) divefile.Mix {
		g := gases[min(int(i), len(gases)-1)]
		return divefile.Mix{O2: g.GetOxygenPercent(), He: g.GetHeliumPercent()}
	}
	p := x.GetProfile()
	out := divefile.Dive{Started: d.GetEnteredAt().AsTime(), Zoned: true}
	if p.GetStartedAt() != nil {
		out.Started = p.GetStartedAt().AsTime()
	}
	screen.Samples(p, func(second, cm, gas uint32) {
		out.Samples = append(out.Samples, divefile.Sample{Second: float64(second), DepthM: float64(cm) / 100, Mix: mix(gas)})
	})
	tank := func(g divefile.Mix, litres *float64, start, end *pb.Pressure) {
		t := divefile.Tank{Mix: &g, Litres: litres}
		if start != nil {
			t.BeginBar = proto.Float64(start.GetBar())
		}
		if end != nil {
			t.EndBar = proto.Float64(end.GetBar())
		}
		if t.BeginBar != nil || t.EndBar != nil {
			out.Tanks = append(out.Tanks, t)
		}
	}
	tank(mix(0), x.MainsVolumeL, x.GetStartPressure(), x.GetEndPressure())
	for _, c := range x.GetCylinders() {
		if g := c.GetGas(); g != nil {
			tank(divefile.Mix{O2: g.GetOxygenPercent(), He: g.GetHeliumPercent()}, c.VolumeL, c.GetStartPressure(), c.GetEndPressure())
		}
	}
	return out
}
