package tables

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"lastlight/engine/gas"
	"lastlight/engine/tissue"
	"lastlight/engine/water"
)

func init() { Register("examples", readExamples) }

// exampleRow is one worked example: named numbers and words in and out.
type exampleRow struct {
	ID      string
	Title   string
	Inputs  map[string]any
	Outputs map[string]any
}

func (e *exampleRow) number(key string) float64 {
	v, _ := e.Inputs[key].(float64)
	return v
}

func (e *exampleRow) text(key string) string {
	v, _ := e.Inputs[key].(string)
	return v
}

func (e *exampleRow) has(keys ...string) bool {
	for _, k := range keys {
		if v, ok := e.Inputs[k]; !ok || v == nil {
			return false
		}
	}
	return true
}

func (e *exampleRow) mix(r *Result) gas.Mix {
	m, err := mixNamed(e.text("gas"))
	if err != nil {
		r.Fail(e.ID, "gas", err, e.text("gas"))
	}
	return m
}

// exampleCheck compares what the engine gives with an output of a row: 0.01 %,
// pressures and lengths also 1e-6 absolute.
type exampleCheck struct {
	*exampleRow
	result *Result
	done   map[string]bool
}

func (c *exampleCheck) is(key string, got float64) { c.within(key, got, 1e-4, 1e-6) }

func (c *exampleCheck) within(key string, got, relative, absolute float64) {
	want, ok := c.Outputs[key].(float64)
	c.done[key] = true
	if ok {
		c.result.Number(c.ID, key, got, want, relative, absolute)
	}
}

// published values are rounded: half a unit of their last place.
func (c *exampleCheck) published(key string, got, half float64) { c.within(key, got, 0, half*1.000001) }

func (c *exampleCheck) exact(key string, got any) {
	c.done[key] = true
	if want, ok := c.Outputs[key]; ok {
		c.result.Exact(c.ID, key, got, want)
	}
}

// readExamples checks worked examples. A row of a shape that is not known here is
// named as not covered, and so is an output nobody compared.
func readExamples(content []byte) (*Result, error) {
	rows, err := decode[[]exampleRow](content)
	if err != nil {
		return nil, err
	}
	r := &Result{}
	for i := range rows {
		c := &exampleCheck{&rows[i], r, map[string]bool{}}
		if !c.run() {
			r.Skipped = append(r.Skipped, fmt.Sprintf("%s (%s): no example of this shape is known", c.ID, c.Title))
			continue
		}
		r.Rows++
		var left []string
		for k, v := range c.Outputs {
			if !c.done[k] && v != nil {
				left = append(left, k)
			}
		}
		slices.Sort(left)
		if len(left) > 0 {
			r.Skipped = append(r.Skipped, fmt.Sprintf("%s: %s", c.ID, strings.Join(left, ", ")))
		}
	}
	return r, nil
}

func (c *exampleCheck) run() bool {
	switch {
	case c.has("compartment", "gas", "P0"):
		c.tension()
	case c.has("variant", "pN2", "pHe", "Pamb", "GF"):
		c.limit()
	case c.has("gf_low", "first_stop", "depth"):
		c.is("gf", tissue.GradientFactor(c.number("gf_low"), c.number("gf_high"), c.number("depth"), c.number("first_stop")))
	case c.has("fHe", "fN2"):
		c.weighted()
	case c.has("schedule"):
		return c.schedule()
	case c.has("profile"):
		return c.flight()
	default:
		return c.water() || c.gasLimits() || c.realGas() || c.consumption()
	}
	return true
}

// model with the compartment, and its index.
func (c *exampleCheck) model(variant tissue.Variant) (*tissue.Model, int) {
	first := "1b"
	if c.text("compartment") == "1" {
		first = "1"
	}
	m, err := tissue.New(variant, first, tissue.WaterVapour)
	if err != nil {
		c.result.Fail(c.ID, "model", err, variant)
		return tissue.Default(), 0
	}
	for i := range tissue.Count {
		if m.Compartment(i).ID == c.text("compartment") {
			return m, i
		}
	}
	c.result.Fail(c.ID, "compartment", "none", c.text("compartment"))
	return m, 0
}

func (c *exampleCheck) tension() {
	m, i := c.model(tissue.C)
	mix, column := c.mix(c.result), water.Fresh // the titles say: fresh water, sea level
	helium := strings.Contains(c.Title, ", He,")
	half := m.Compartment(i).HalfN2
	var s tissue.State
	if helium {
		half = m.Compartment(i).HalfHe
		s.He[i] = c.number("P0")
	} else {
		s.N2[i] = c.number("P0")
	}
	c.result.Number(c.ID, "half_time", half, c.number("half_time"), 1e-9, 0)
	from, to := c.number("depth_m"), c.number("depth_m")
	if c.has("from_m") {
		from, to = c.number("from_m"), c.number("to_m")
	}
	minutes := c.number("minutes")
	m.Linear(&s, mix, column.Pressure(from), column.Pressure(to), minutes)
	n2, he := m.Inspired(mix, column.Pressure(from))
	fraction, inspired, p := mix.N2(), n2, s.N2[i]
	if helium {
		fraction, inspired, p = mix.He, he, s.He[i]
	}
	c.within("Pinsp", inspired, 0, 1e-6)
	c.within("Pinsp0", inspired, 0, 1e-6)
	c.within("R_bar_per_min", fraction*(to-from)*column.PerMetre/minutes, 0, 1e-6)
	c.within("P", p, 0, 1e-6)
}

func (c *exampleCheck) limit() {
	m, i := c.model(tissue.Variant(c.text("variant")))
	var s tissue.State
	s.N2[i], s.He[i] = c.number("pN2"), c.number("pHe")
	ambient, gf := c.number("Pamb"), c.number("GF")
	a, b := m.Coefficients(&s, i)
	tolerated, _ := m.Tolerated(&s, gf)
	c.within("a", a, 0, 1e-6)
	c.within("b", b, 0, 1e-6)
	c.within("M", m.Allowed(&s, i, ambient, 1), 0, 1e-6)
	c.within("allowed", m.Allowed(&s, i, ambient, gf), 0, 1e-6)
	c.exact("exceeds", m.CompartmentMargin(&s, i, ambient, gf) < 0)
	c.within("Pamb_tolerated", tolerated, 0, 1e-6)
	c.within("ceiling_m_fresh_sea_level", water.Fresh.Depth(tolerated), 0, 1e-5)
}

// weighted is the published example of mixed coefficients, compartment 1.
func (c *exampleCheck) weighted() {
	m, err := tissue.New(tissue.C, "1", tissue.WaterVapour)
	if err != nil {
		c.result.Fail(c.ID, "model", err, "1")
		return
	}
	var s tissue.State
	s.N2[0], s.He[0] = c.number("fN2"), c.number("fHe")
	a, b := m.Coefficients(&s, 0)
	c.within("a", a, 0, 1e-6)
	c.within("b", b, 0, 1e-6)
	c.published("published_a", a, 5e-5)
	c.published("published_b", b, 5e-5)
}

func (c *exampleCheck) water() bool {
	bar := func(key string) float64 { return c.number(key) / 1000 }
	switch {
	case c.has("rho", "altitude_m_geopotential", "depth_m"):
		surface, err := water.SurfacePressure(c.number("altitude_m_geopotential"))
		if err != nil {
			c.result.Fail(c.ID, "Psurf", err, c.Outputs["Psurf"])
		}
		c.within("Psurf", surface, 0, 1e-6)
		c.within("Pamb", water.Of(surface, c.number("rho")).Pressure(c.number("depth_m")), 0, 1e-6)
	case c.has("gauge_m", "water_rho"):
		c.is("true_depth_m", water.Of(1, c.number("water_rho")).FromGauge(c.number("gauge_m")))
	case c.has("depth_fsw", "Palt_mb"), c.has("stop_fsw", "Palt_mb"):
		sea := water.SeaLevelBar
		if c.has("Psl_mb") {
			sea = bar("Psl_mb")
		}
		if c.has("alt_ft") { // the row's pressure is the standard atmosphere's
			p, err := water.SurfacePressure(c.number("alt_ft") * 0.3048)
			if err != nil {
				c.result.Fail(c.ID, "Palt_mb", err, c.number("Palt_mb"))
			}
			c.result.Number(c.ID, "Palt_mb", p, bar("Palt_mb"), 0, 1e-6)
		}
		equivalent := water.SeaLevelDepth(c.number("depth_fsw"), bar("Palt_mb"), sea)
		stop := c.number("stop_fsw") + c.number("sea_level_stop_fsw")
		shallower := water.AltitudeStop(stop, bar("Palt_mb"), sea)
		c.is("SLED_fsw", equivalent)
		c.is("alt_stop_fsw", shallower)
		c.published("published_SLED", equivalent, 0.05)
		c.published("published_stop", shallower, 0.05)
		c.published("published", shallower, 0.5)
		c.published("published_table_SLED", math.Ceil(equivalent/10)*10, 1e-9) // the table rounds up to 10 fsw
	default:
		return false
	}
	return true
}
