package tables

import (
	"fmt"
	"math"

	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

func init() {
	Register("zhl16_table", readCoefficients)
	Register("tissue_profiles", readProfiles)
	Register("ndl", readNoStopLimits)
}

// readCoefficients checks the coefficients exactly and the M-values made from
// them to the table's last place. M0 in msw takes a surface of 1.0 bar, in fsw 33
// fsw per atm and a x 32.568 fsw per bar (handbook, physics section 12).
func readCoefficients(content []byte) (*Result, error) {
	rows, err := decode[[]map[string]any](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range rows {
		id, _ := row["id"].(string)
		first := "1b"
		if id == "1" {
			first = "1"
		}
		r.Rows++
		number := func(key string, got, relative, absolute float64) {
			if want, ok := row[key].(float64); ok {
				r.Number("compartment "+id, key, got, want, relative, absolute)
			}
		}
		for _, variant := range []tissue.Variant{tissue.A, tissue.B, tissue.C} {
			m, err := tissue.New(variant, first, tissue.WaterVapour)
			if err != nil {
				return nil, err
			}
			c, ok := compartmentNamed(m, id)
			if !ok {
				return nil, fmt.Errorf("no compartment %q", id)
			}
			const fswPerBar = 32.568
			msw := func(a, b float64) float64 { return 10 * (a + 1/b) }
			fsw := func(a, b float64) float64 { return a*fswPerBar + 33/b }
			number("tN2", c.HalfN2, 0, 0)
			number("bN2", c.BN2, 0, 0)
			number("aN2_"+string(variant), c.AN2, 0, 0)
			number("tHe", c.HalfHe, 0, 0)
			number("aHe", c.AHe, 0, 0)
			number("bHe", c.BHe, 0, 0)
			number("dM_N2", 1/c.BN2, 0, 5.1e-6)
			number("dM_He", 1/c.BHe, 0, 5.1e-6)
			number("M0_N2_msw_"+string(variant), msw(c.AN2, c.BN2), 0, 5.1e-6)
			number("M0_He_msw", msw(c.AHe, c.BHe), 0, 5.1e-6)
			number("M0_N2_fsw_"+string(variant), fsw(c.AN2, c.BN2), 2e-5, 0)
			number("M0_He_fsw", fsw(c.AHe, c.BHe), 2e-5, 0)
			// The generating formulas of variant A (physics section 1).
			number("a_formula", 2/math.Cbrt(c.HalfN2), 0, 5.1e-6)
			number("b_formula", 1.005-1/math.Sqrt(c.HalfN2), 0, 5.1e-6)
		}
	}
	return r, nil
}

func compartmentNamed(m *tissue.Model, id string) (tissue.Compartment, bool) {
	for i := range tissue.Count {
		if c := m.Compartment(i); c.ID == id {
			return c, true
		}
	}
	return tissue.Compartment{}, false
}

// valueAt is a pair [value, compartment] of the tables.
type valueAt [2]any

func (v valueAt) check(r *Result, row, key string, got float64, compartment string, absolute float64) {
	want, _ := v[0].(float64)
	r.Number(row, key, got, want, 0, absolute)
	r.Exact(row, key+" compartment", compartment, v[1])
}

// readProfiles checks tissue tensions to 1e-6 bar.
func readProfiles(content []byte) (*Result, error) {
	rows, err := decode[[]struct {
		Name     string
		Variant  tissue.Variant
		First    string  `json:"first_compartment"`
		Surface  float64 `json:"Ps"`
		PerMetre float64 `json:"bar_per_m"`
		Vapour   float64 `json:"pw"`
		Segments []struct {
			To      float64 `json:"to_depth"`
			Minutes float64
			Gas     string
		}
		Tissues []struct {
			ID       string
			PN2, PHe float64
		}
		Ceiling100 *valueAt `json:"ceiling_m_gf100"`
		Ceiling50  *valueAt `json:"ceiling_m_gf50"`
		Load       *valueAt `json:"surface_gf"`
	}](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for _, row := range rows {
		m, err := tissue.New(row.Variant, row.First, row.Vapour)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", row.Name, err)
		}
		c := water.Column{Surface: row.Surface, PerMetre: row.PerMetre}
		s := m.Saturated(row.Surface)
		depth := 0.0
		for _, seg := range row.Segments {
			mix, err := mixNamed(seg.Gas)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", row.Name, err)
			}
			m.Advance(&s, c, tissue.Piece{From: depth, To: seg.To, Minutes: seg.Minutes, Mix: mix})
			depth = seg.To
		}
		r.Rows++
		for i, want := range row.Tissues {
			if i >= tissue.Count {
				r.Fail(row.Name, "tissues", tissue.Count, len(row.Tissues))
				break
			}
			id := m.Compartment(i).ID
			r.Exact(row.Name, "compartment", id, want.ID)
			r.Number(row.Name, id+" pN2", s.N2[i], want.PN2, 0, 1e-6)
			r.Number(row.Name, id+" pHe", s.He[i], want.PHe, 0, 1e-6)
		}
		// 1e-6 bar is 1e-5 m; the load divides by some tenths of a bar.
		if row.Ceiling100 != nil {
			d, i := m.Ceiling(&s, c, 1)
			row.Ceiling100.check(r, row.Name, "ceiling_m_gf100", d, m.Compartment(i).ID, 2e-5)
		}
		if row.Ceiling50 != nil {
			d, i := m.Ceiling(&s, c, 0.5)
			row.Ceiling50.check(r, row.Name, "ceiling_m_gf50", d, m.Compartment(i).ID, 2e-5)
		}
		if row.Load != nil {
			load, i := m.SurfaceLoad(&s, row.Surface)
			row.Load.check(r, row.Name, "surface_gf", load, m.Compartment(i).ID, 5e-6)
		}
	}
	return r, nil
}

// readNoStopLimits checks definition 1 to 1e-3 min and definition 2 exactly,
// but within 1 min where the failing minute hinges on less than 1e-4 bar.
func readNoStopLimits(content []byte) (*Result, error) {
	rows, err := decode[[]struct {
		Variant tissue.Variant
		Gas     string
		GF      float64
		Depth   float64
		Conv    string
		Def1    *float64 `json:"ndl_def1_min"`
		Ctrl1   *string
		Def2    *int `json:"ndl_def2_min"`
		Ctrl2   *string
		Margin  *float64 `json:"fail_margin"`
	}](content)
	if err != nil {
		return nil, err
	}
	columns := map[string]water.Column{
		"fresh_sea_level": water.Fresh,
		"msw_1bar":        {Surface: 1, PerMetre: 0.1},
	}
	const searched = 400 // minutes, the table's search limit
	r := &Result{}
	for i, row := range rows {
		name := fmt.Sprintf("row %d (%s %s GF %v %v m %s)", i, row.Variant, row.Gas, row.GF, row.Depth, row.Conv)
		column, known := columns[row.Conv]
		if !known {
			r.Skipped = append(r.Skipped, name+": convention not known")
			continue
		}
		m, err := tissue.New(row.Variant, "1b", tissue.WaterVapour)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		mix, err := mixNamed(row.Gas)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		r.Rows++
		q := tissue.Square{Water: column, Depth: row.Depth, Mix: mix, GFHigh: row.GF, Descent: 20, Ascent: 10}
		t, c := m.InstantLimit(q)
		switch {
		case row.Def1 == nil && !math.IsInf(t, 1):
			r.Fail(name, "ndl_def1_min", t, "unlimited")
		case row.Def1 != nil:
			r.Number(name, "ndl_def1_min", t, *row.Def1, 0, 1e-3)
			if c >= 0 && row.Ctrl1 != nil {
				r.Exact(name, "ctrl1", m.Compartment(c).ID, *row.Ctrl1)
			}
		}
		limit := m.MinuteLimit(q, searched)
		switch {
		case row.Def2 == nil:
			if !limit.Beyond {
				r.Fail(name, "ndl_def2_min", limit.Minutes, "beyond 400")
			}
		case limit.Beyond:
			r.Fail(name, "ndl_def2_min", "beyond 400", *row.Def2)
		default:
			slack := 0.0
			if row.Margin != nil && math.Abs(*row.Margin) < 1e-4 {
				slack = 1
			}
			r.Number(name, "ndl_def2_min", float64(limit.Minutes), float64(*row.Def2), 0, slack)
			if float64(limit.Minutes) == float64(*row.Def2) && row.Margin != nil && row.Ctrl2 != nil {
				r.Number(name, "fail_margin", limit.Margin, *row.Margin, 0, 5.1e-5)
				r.Exact(name, "ctrl2", m.Compartment(limit.Compartment).ID, *row.Ctrl2)
			}
		}
	}
	return r, nil
}
