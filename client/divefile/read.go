package divefile

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Read gives the dives of a file in their order, or every problem it found.
func Read(r io.Reader) ([]Dive, error) {
	limited := &io.LimitedReader{R: r, N: mostBytes + 1}
	p := &parser{xml: xml.NewDecoder(limited), mixes: map[string]Mix{}}
	err := p.run()
	switch {
	case limited.N <= 0:
		return nil, fmt.Errorf("the file is larger than %d MiB", mostBytes>>20)
	case err != nil:
		line, _ := p.xml.InputPos()
		return nil, fmt.Errorf("line %d: %w", line, err)
	}
	if !p.seen {
		return nil, errors.New("no <uddf>: not a dive file of this format")
	}
	dives := make([]Dive, 0, len(p.dives))
	var problems []error
	for i := range p.dives {
		d, err := p.dives[i].finish(p.mixes)
		if err != nil {
			problems = append(problems, fmt.Errorf("dive %d: %w", i+1, err))
		}
		dives = append(dives, d)
	}
	if err := errors.Join(problems...); err != nil {
		return nil, err
	}
	if len(dives) == 0 {
		return nil, errors.New("the file holds no dive")
	}
	return dives, nil
}

// raw is a dive as it is read; gases are names until the whole file is known.
type raw struct {
	started string
	samples []rawSample
	tanks   []rawTank
}

type rawSample struct{ second, depth, mix string }

type rawTank struct{ mix, begin, end, volume string }

type parser struct {
	xml      *xml.Decoder
	path     []string
	text     strings.Builder
	elements int
	seen     bool
	mixes    map[string]Mix
	mix      struct{ id, o2, he string }
	dives    []raw
}

func (p *parser) run() error {
	for {
		token, err := p.xml.Token()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		switch t := token.(type) {
		case xml.Directive:
			return errors.New("a document type or entity is declared; such files are refused")
		case xml.StartElement:
			if err := p.start(t); err != nil {
				return err
			}
		case xml.CharData:
			if p.text.Len()+len(t) > mostText {
				return fmt.Errorf("more than %d bytes in one element", mostText)
			}
			p.text.Write(t)
		case xml.EndElement:
			if err := p.end(); err != nil {
				return err
			}
		}
	}
}

func (p *parser) start(t xml.StartElement) error {
	p.elements++
	name := t.Name.Local
	switch {
	case p.elements > mostElements:
		return fmt.Errorf("more than %d elements", mostElements)
	case len(p.path) >= mostDepth:
		return fmt.Errorf("elements nested more than %d deep", mostDepth)
	case len(p.path) == 0 && name != "uddf":
		return fmt.Errorf("begins with <%s>, not <uddf>", name)
	}
	p.path = append(p.path, name)
	p.text.Reset()
	switch {
	case len(p.path) == 1:
		p.seen = true
	case p.at("gasdefinitions", "mix"):
		p.mix.id, p.mix.o2, p.mix.he = attribute(t, "id"), "", ""
	case p.at("repetitiongroup", "dive"):
		if len(p.dives) == mostDives {
			return fmt.Errorf("more than %d dives", mostDives)
		}
		p.dives = append(p.dives, raw{})
	case !p.inDive():
	case p.at("samples", "waypoint"):
		d := p.dive()
		if len(d.samples) == mostSamples {
			return fmt.Errorf("more than %d waypoints in a dive", mostSamples)
		}
		d.samples = append(d.samples, rawSample{})
	case p.at("samples", "waypoint", "switchmix"):
		p.sample().mix = attribute(t, "ref")
	case p.at("dive", "tankdata"):
		d := p.dive()
		if len(d.tanks) == mostTanks {
			return fmt.Errorf("more than %d cylinders in a dive", mostTanks)
		}
		d.tanks = append(d.tanks, rawTank{})
	case p.at("dive", "tankdata", "link"):
		p.tank().mix = attribute(t, "ref")
	}
	return nil
}

func (p *parser) end() error {
	text := strings.TrimSpace(p.text.String())
	switch {
	case p.at("gasdefinitions", "mix", "o2"):
		p.mix.o2 = text
	case p.at("gasdefinitions", "mix", "he"):
		p.mix.he = text
	case p.at("gasdefinitions", "mix"):
		if err := p.addMix(); err != nil {
			return err
		}
	case !p.inDive():
	case p.at("informationbeforedive", "datetime"):
		p.dive().started = text
	case p.at("samples", "waypoint", "depth"):
		p.sample().depth = text
	case p.at("samples", "waypoint", "divetime"):
		p.sample().second = text
	case p.at("dive", "tankdata", "tankpressurebegin"):
		p.tank().begin = text
	case p.at("dive", "tankdata", "tankvolume"):
		p.tank().volume = text
	case p.at("dive", "tankdata", "tankpressureend"):
		p.tank().end = text
	}
	p.path = p.path[:len(p.path)-1]
	p.text.Reset()
	return nil
}

// at tells whether the path ends in these names.
func (p *parser) at(names ...string) bool {
	return len(p.path) >= len(names) && slices.Equal(p.path[len(p.path)-len(names):], names)
}

func (p *parser) inDive() bool {
	return len(p.path) >= 4 && slices.Equal(p.path[:4], []string{"uddf", "profiledata", "repetitiongroup", "dive"})
}

func (p *parser) dive() *raw { return &p.dives[len(p.dives)-1] }

func (p *parser) sample() *rawSample {
	d := p.dive()
	if len(d.samples) == 0 {
		d.samples = append(d.samples, rawSample{})
	}
	return &d.samples[len(d.samples)-1]
}

func (p *parser) tank() *rawTank {
	d := p.dive()
	return &d.tanks[len(d.tanks)-1]
}

func attribute(t xml.StartElement, name string) string {
	for _, a := range t.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// addMix keeps a gas. Other gases than oxygen, helium and nitrogen are not breathed here.
func (p *parser) addMix() error {
	if len(p.mixes) == mostMixes {
		return fmt.Errorf("more than %d gases", mostMixes)
	}
	o2, err := number(p.mix.o2, 0, 1)
	if err != nil {
		return fmt.Errorf("mix %q: <o2>: %w", p.mix.id, err)
	}
	he := 0.0
	if p.mix.he != "" {
		if he, err = number(p.mix.he, 0, 1); err != nil {
			return fmt.Errorf("mix %q: <he>: %w", p.mix.id, err)
		}
	}
	if o2 <= 0 || o2+he > 1.0005 {
		return fmt.Errorf("mix %q: %g oxygen and %g helium: oxygen is more than 0, both together at most 1", p.mix.id, o2, he)
	}
	if _, twice := p.mixes[p.mix.id]; twice || p.mix.id == "" {
		return fmt.Errorf("mix %q: each gas has an id of its own", p.mix.id)
	}
	p.mixes[p.mix.id] = Mix{percent(o2), percent(he)}
	return nil
}

// percent of a fraction, to a tenth: what a record holds.
func percent(f float64) float64 { return math.Round(f*1000) / 10 }

// number reads a decimal between least and most; never NaN or infinite.
func number(text string, least, most float64) (float64, error) {
	f, err := strconv.ParseFloat(text, 64)
	if err != nil || !(f >= least && f <= most) {
		return 0, fmt.Errorf("%.40q is no number from %g to %g", text, least, most)
	}
	return f, nil
}

func (r *raw) finish(mixes map[string]Mix) (Dive, error) {
	var d Dive
	var problems []error
	wrong := func(format string, args ...any) { problems = append(problems, fmt.Errorf(format, args...)) }
	var err error
	if d.Started, d.Zoned, err = instant(r.started); err != nil {
		wrong("<datetime>: %w", err)
	}
	if len(r.samples) < 2 {
		wrong("fewer than two waypoints: the file has no profile")
	}
	mix, before := Air, -1.0
	for i, s := range r.samples {
		at := fmt.Sprintf("waypoint %d", i+1)
		second, err := number(s.second, 0, longest)
		if err != nil {
			wrong("%s: <divetime>: %w", at, err)
		} else if second <= before {
			wrong("%s: <divetime> %g s is not after %g s", at, second, before)
		}
		before = math.Max(before, second)
		depth, err := number(s.depth, 0, deepest)
		if err != nil {
			wrong("%s: <depth>: %w", at, err)
		}
		if s.mix != "" {
			named, known := mixes[s.mix]
			if mix = named; !known {
				wrong("%s: <switchmix> names %.40q, which <gasdefinitions> does not define", at, s.mix)
			}
		}
		d.Samples = append(d.Samples, Sample{second, depth, mix, s.mix != ""})
		if len(problems) > 20 {
			wrong("and more")
			break
		}
	}
	for i, t := range r.tanks {
		var tank Tank
		if mix, known := mixes[t.mix]; known {
			tank.Mix = &mix
		}
		for _, x := range []struct {
			name, text string
			to         **float64
		}{{"tankpressurebegin", t.begin, &tank.BeginBar}, {"tankpressureend", t.end, &tank.EndBar}} {
			if x.text == "" {
				continue
			}
			pa, err := number(x.text, 0, 500*pascalPerBar)
			if err != nil {
				wrong("cylinder %d: <%s>: %w", i+1, x.name, err)
				continue
			}
			bar := pa / pascalPerBar
			*x.to = &bar
		}
		// The format counts cubic metres; a volume that is none, of a program that wrote
		// litres, is nobody's guess and left out.
		if m3, err := number(t.volume, 0.0005, 0.1); t.volume != "" && err == nil {
			litres := m3 * litresPerCubicMetre
			tank.Litres = &litres
		}
		d.Tanks = append(d.Tanks, tank)
	}
	return d, errors.Join(problems...)
}

// instant reads a date and time, with or without zone.
func instant(text string) (t time.Time, zoned bool, err error) {
	if t, err = time.Parse(time.RFC3339, text); err == nil {
		return t, true, nil
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if t, err = time.Parse(layout, text); err == nil {
			return t, false, nil
		}
	}
	return t, false, fmt.Errorf("%.40q is no date and time as 2026-03-01T10:20:00Z", text)
}
