package enginetest

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"lastlight/engine/finding"
)

// Range is what a value may be, given how far the printed inputs are rounded.
type Range struct{ Low, High float64 }

// ErrWords is for a formula that is no arithmetic.
var ErrWords = errors.New("a formula in words")

// Recalculate does a step's arithmetic again from its inputs as printed, each
// taken as anything that rounds to what is printed: a pocket calculator with
// the rounding kept in mind. The error is ErrWords where the formula is none.
func Recalculate(s finding.Step) (Range, error) {
	return calculate(s, func(f finding.Figure) (Range, error) {
		v, err := strconv.ParseFloat(f.Text, 64)
		if err != nil {
			return Range{}, fmt.Errorf("input %q is %q, no number", f.Name, f.Text)
		}
		half := Half(f)
		return Range{v - half, v + half}, nil
	})
}

// Exact does the same from the numbers behind what is printed.
func Exact(s finding.Step) (float64, error) {
	r, err := calculate(s, func(f finding.Figure) (Range, error) {
		if f.Number == nil {
			return Range{}, fmt.Errorf("input %q has no number", f.Name)
		}
		return Range{*f.Number, *f.Number}, nil
	})
	return (r.Low + r.High) / 2, err
}

// Half is how far the printed text of a figure may be from its number: half of
// the last place, and nothing where the text says all of it.
func Half(f finding.Figure) float64 {
	v, err := strconv.ParseFloat(f.Text, 64)
	if err == nil && f.Number != nil && math.Abs(v-*f.Number) <= 1e-8*math.Abs(v) {
		return 0
	}
	_, after, _ := strings.Cut(f.Text, ".")
	return 0.5 * math.Pow10(-len(after))
}

func calculate(s finding.Step, value func(finding.Figure) (Range, error)) (Range, error) {
	switch s.Formula {
	case finding.Recorded, finding.Missing, finding.Compared, finding.MonthEnd, finding.SameDay, finding.DaysOn, finding.Minutes, finding.Earliest, finding.Latest, finding.Needed, finding.WallStep:
		return Range{}, ErrWords
	}
	values := map[string]Range{}
	var all []Range
	for _, f := range s.Inputs {
		v, err := value(f)
		if err != nil {
			return Range{}, err
		}
		all = append(all, v)
		values[f.Name] = v
	}
	if len(all) > 0 {
		switch s.Formula {
		case finding.Sum:
			return fold(all, func(a, b float64) float64 { return a + b }), nil
		case finding.Greatest:
			return fold(all, math.Max), nil
		case finding.Least:
			return fold(all, math.Min), nil
		}
	}
	p := parser{text: s.Formula, values: values}
	for _, f := range s.Inputs {
		p.names = append(p.names, f.Name)
	}
	slices.SortFunc(p.names, func(a, b string) int { return len(b) - len(a) })
	v, err := p.sum()
	if err == nil && p.text != "" {
		err = fmt.Errorf("not understood from %q on", p.text)
	}
	if err != nil {
		return Range{}, fmt.Errorf("%q: %w", s.Formula, err)
	}
	for _, f := range s.Inputs {
		if !slices.Contains(p.used, f.Name) {
			return Range{}, fmt.Errorf("%q does not use its input %q", s.Formula, f.Name)
		}
	}
	return v, nil
}

func fold(all []Range, f func(a, b float64) float64) Range {
	out := all[0]
	for _, v := range all[1:] {
		out = Range{f(out.Low, v.Low), f(out.High, v.High)}
	}
	return out
}

// parser reads a formula: sums of products of names, numbers and brackets.
type parser struct {
	text   string
	names  []string // longest first
	values map[string]Range
	used   []string
}

func (p *parser) take(word string) bool {
	rest, ok := strings.CutPrefix(p.text, word)
	if ok {
		p.text = rest
	}
	return ok
}

func (p *parser) sum() (Range, error) {
	v, err := p.product()
	for err == nil {
		var w Range
		switch {
		case p.take(" + "):
			w, err = p.product()
			v = Range{v.Low + w.Low, v.High + w.High}
		case p.take(" - "):
			w, err = p.product()
			v = Range{v.Low - w.High, v.High - w.Low}
		default:
			return v, nil
		}
	}
	return v, err
}

func (p *parser) product() (Range, error) {
	v, err := p.factor()
	for err == nil {
		var w Range
		switch {
		case p.take(" × "):
			w, err = p.factor()
		case p.take(" / "):
			w, err = p.factor()
			if w.Low <= 0 && w.High >= 0 {
				return v, fmt.Errorf("a division by what may be 0")
			}
			w = Range{1 / w.High, 1 / w.Low}
		default:
			return v, nil
		}
		four := []float64{v.Low * w.Low, v.Low * w.High, v.High * w.Low, v.High * w.High}
		v = Range{slices.Min(four), slices.Max(four)}
	}
	return v, err
}

func (p *parser) list() ([]Range, error) {
	var out []Range
	for {
		v, err := p.sum()
		if err != nil {
			return nil, err
		}
		out = append(out, v)
		switch {
		case p.take(", "):
		case p.take(")"):
			return out, nil
		default:
			return nil, fmt.Errorf("an open bracket before %q", p.text)
		}
	}
}

func (p *parser) factor() (Range, error) {
	for _, f := range []struct {
		word string
		of   func([]Range) Range
	}{
		{"the greatest of (", func(v []Range) Range { return fold(v, math.Max) }},
		{"the least of (", func(v []Range) Range { return fold(v, math.Min) }},
		{"down to whole (", func(v []Range) Range { return Range{math.Floor(v[0].Low + 1e-6), math.Floor(v[0].High + 1e-6)} }},
		{"up to whole (", func(v []Range) Range { return Range{math.Ceil(v[0].Low - 1e-6), math.Ceil(v[0].High - 1e-6)} }},
		{"the natural logarithm of (", func(v []Range) Range { return Range{math.Log(v[0].Low), math.Log(v[0].High)} }},
		{"the power of (", power},
		{"the size of (", func(v []Range) Range {
			return Range{math.Max(0, math.Max(v[0].Low, -v[0].High)), math.Max(math.Abs(v[0].Low), math.Abs(v[0].High))}
		}},
		{"(", func(v []Range) Range { return v[0] }},
	} {
		if p.take(f.word) {
			v, err := p.list()
			if err != nil {
				return Range{}, err
			}
			return f.of(v), nil
		}
	}
	for _, name := range p.names {
		if p.take(name) {
			p.used = append(p.used, name)
			return p.values[name], nil
		}
	}
	n := strings.IndexFunc(p.text, func(r rune) bool { return !(r >= '0' && r <= '9' || r == '.') })
	if n < 0 {
		n = len(p.text)
	}
	v, err := strconv.ParseFloat(p.text[:n], 64)
	if err != nil {
		return Range{}, fmt.Errorf("no input is called %q", p.text)
	}
	p.text = p.text[n:]
	return Range{v, v}, nil
}

// power is the first to the power of the second, for a first of 0 or more.
func power(v []Range) Range {
	if len(v) != 2 || v[0].Low < -1e-5 {
		return Range{math.NaN(), math.NaN()}
	}
	low, high := math.Max(0, v[0].Low), math.Max(0, v[0].High)
	four := []float64{math.Pow(low, v[1].Low), math.Pow(low, v[1].High), math.Pow(high, v[1].Low), math.Pow(high, v[1].High)}
	return Range{slices.Min(four), slices.Max(four)}
}
