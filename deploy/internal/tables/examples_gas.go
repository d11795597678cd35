package tables

import (
	"math"

	"lastlight/engine/gas"
	"lastlight/engine/water"
)

func (c *exampleCheck) gasLimits() bool {
	z := water.Column{Surface: c.number("z"), PerMetre: 1} // equivalent depths depend on z alone
	hand := water.Column{Surface: 1, PerMetre: 0.1}        // 1 bar, 10 m per bar
	switch {
	case c.has("fO2", "ppO2", "per_unit"):
		c.is("MOD", gas.MOD(gas.Mix{O2: c.number("fO2")}, c.number("ppO2"), water.Column{Surface: c.number("Psurf"), PerMetre: c.number("per_unit")}))
	case c.has("fO2", "depth", "z"):
		ead := gas.EAD(gas.Mix{O2: c.number("fO2")}, c.number("depth"), z)
		c.is("EAD", ead)
		c.published("published", ead, 0.5)
	case c.has("gas", "depth_m", "z"):
		m, depth := c.mix(c.result), c.number("depth_m")
		c.is("END_O2_narcotic", gas.END(m, depth, z, true))
		c.is("END_N2_only", gas.END(m, depth, z, false))
		c.is("ppO2", m.O2*hand.Pressure(depth))
	case c.has("depth_m", "ppO2"):
		want := gas.Want{Depth: c.number("depth_m"), OxygenBar: c.number("ppO2"), Narcosis: -1, OxygenNarcotic: true}
		if c.has("END") {
			want.Narcosis = c.number("END")
		}
		m, _, _ := want.Best(hand)
		c.is("fO2", m.O2)
		c.is("fHe", m.He)
		c.is("fN2", m.N2())
	case c.has("gas", "depth_msw", "Pamb_bar"):
		m, p := c.mix(c.result), c.number("Pamb_bar")
		c.is("rho_0C", m.Density(p, 273.15))
		c.is("rho_20C", m.Density(p, 293.15))
		c.is("rho_37C", m.Density(p, 310.15))
		c.is("max_depth_5_2", m.DepthOfDensity(gas.DensityIdeal, hand))
		c.is("max_depth_6_2", m.DepthOfDensity(gas.DensityMost, hand))
	case len(c.Inputs) == 0 && c.Outputs["EAN32"] != nil:
		c.standardDensities()
	default:
		return false
	}
	return true
}

// standardDensities at 0 °C and 1 atm. The published table has helium cut to
// three figures (0.178 for 0.1785), so it is met to 0.4 %.
func (c *exampleCheck) standardDensities() {
	published, _ := c.Outputs["published"].(map[string]any)
	for name, m := range map[string]gas.Mix{"O2": gas.Oxygen, "N2": {}, "He": {He: 1}, "EAN32": {O2: 0.32}} {
		rho := m.Density(1.01325, 273.15)
		c.is(name, rho)
		if want, ok := published[name].(float64); ok {
			c.result.Number(c.ID, "published "+name, rho, want, 4e-3, 0)
		}
	}
	c.done["published"] = true
}

func (c *exampleCheck) realGas() bool {
	switch {
	case c.has("gas", "volume_L", "P_bar_abs", "T"):
		c.contents()
	case c.has("gas", "P1", "T1", "T2"):
		// The rows use the reference equations and absolute pressures: model V is
		// within 0.034 % (physics section 12).
		const surface = 1
		m := c.mix(c.result)
		for key, model := range map[string]gas.Model{"P2_real": gas.Real, "P2_ideal": gas.Ideal} {
			p, err := gas.AtTemperature(model, m, c.number("P1")-surface, surface, c.number("T1"), c.number("T2"))
			if err != nil {
				c.result.Fail(c.ID, key, err, c.Outputs[key])
			}
			c.within(key, p+surface, 3.4e-4, 0)
		}
	case c.has("fO2", "fHe", "P", "T"):
		c.blend()
	case c.has("start", "cyl_L"):
		// As the rows are computed: absolute pressures, reference equations, air at 288.15 K.
		share := 1.0 / 3
		if r, ok := c.Outputs["turn_ideal"].(float64); ok && r/c.number("start") > 0.75 {
			share = 1.0 / 6
		}
		v, err := gas.NewVirial(gas.CompositionOf(gas.Air), 288.15)
		if err != nil {
			c.result.Fail(c.ID, "turn_real", err, c.Outputs["turn_real"])
			return true
		}
		c.is("turn_ideal", c.number("start")*(1-share))
		c.within("turn_real", v.Pressure(v.Density(c.number("start"))*(1-share)), 3.4e-4, 0)
	default:
		return false
	}
	return true
}

func (c *exampleCheck) contents() {
	m := c.mix(c.result)
	volume, p, t := c.number("volume_L"), c.number("P_bar_abs"), c.number("T")
	// These rows' model V column takes air as 0.21/0.79, unlike ztable.
	v, err := gas.NewVirial(gas.Composition{N2: m.N2(), O2: m.O2, He: m.He}, t)
	if err != nil {
		c.result.Fail(c.ID, "Z_modelV", err, c.Outputs["Z_modelV"])
		return
	}
	c.within("Z_modelV", v.Z(p), 1e-6, 0)
	v, err = gas.NewVirial(gas.CompositionOf(m), t)
	if err != nil {
		c.result.Fail(c.ID, "Z_ref", err, c.Outputs["Z_ref"])
		return
	}
	// The amounts are the reference equations': 0.3 % is model V's accuracy.
	moles := v.Density(p) * volume
	free := moles * gas.R * t
	c.within("Z_ref", v.Z(p), 3e-3, 0)
	c.within("moles", moles, 3e-3, 0)
	c.within("free_L_at_1bar_same_T", free, 3e-3, 0)
	c.within("free_L_at_1_01325bar", free/1.01325, 3e-3, 0)
	ideal, err := gas.NewFilling(gas.Ideal, m, t, 1)
	if err != nil {
		c.result.Fail(c.ID, "ideal_L", err, c.Outputs["ideal_L"])
		return
	}
	c.is("ideal_L", ideal.Litres(volume, p))
	c.within("ideal_error_pct", 100*(volume*p/free-1), 0, 0.31)
}

func (c *exampleCheck) blend() {
	b := gas.Blend{
		Volume: 10, Kelvin: c.number("T"), Surface: 0, NowBar: 0, Now: gas.Air,
		Target: gas.Mix{O2: c.number("fO2"), He: c.number("fHe")}, ToBar: c.number("P"), TopUp: gas.Air,
	}
	s, err := b.Sheet()
	if err != nil {
		c.result.Fail(c.ID, "blend", err, "a sheet")
		return
	}
	sum := 0.0
	for _, step := range s.Steps {
		sum += step.Moles
	}
	c.is("step1_He_to", s.Steps[0].ToBar)
	c.is("step2_O2_to", s.Steps[1].ToBar)
	c.is("final", s.Steps[2].ToBar)
	c.is("ideal_He_to", s.Steps[0].IdealToBar)
	c.is("ideal_O2_to", s.Steps[1].IdealToBar)
	c.is("frac_air", s.Steps[2].Moles/sum)
	c.is("frac_O2_added", s.Steps[1].Moles/sum)
	if gives, ok := c.Outputs["ideal_fill_gives"].(map[string]any); ok {
		o2, _ := gives["fO2"].(float64)
		he, _ := gives["fHe"].(float64)
		c.result.Number(c.ID, "ideal_fill_gives fO2", s.IdealGives.O2, o2, 1e-4, 1e-6)
		c.result.Number(c.ID, "ideal_fill_gives fHe", s.IdealGives.He, he, 1e-4, 1e-6)
	}
	c.done["ideal_fill_gives"] = true
}

func (c *exampleCheck) consumption() bool {
	column := water.Column{Surface: c.number("Psurf"), PerMetre: c.number("bar_per_m")}
	switch {
	case c.has("segments", "RMV_L_per_min_at_1bar"):
		list, _ := c.Inputs["segments"].([]any)
		want, _ := c.Outputs["per_segment_L"].([]any)
		total := 0.0
		for i := range list {
			s, _ := list[i].([]any)
			if len(s) != 3 || i >= len(want) {
				c.result.Fail(c.ID, "segments", list[i], "three numbers")
				continue
			}
			v := func(k int) float64 { x, _ := s[k].(float64); return x }
			l := gas.Consumed(c.number("RMV_L_per_min_at_1bar"), column, v(0), v(1), v(2))
			w, _ := want[i].(float64)
			c.result.Number(c.ID, "per_segment_L", l, w, 1e-5, 1e-6)
			total += l
		}
		c.done["per_segment_L"] = true
		c.is("total_L", total)
	case c.has("cyl_L", "drop_bar", "min"):
		pressure := c.number("Pavg_ata")
		if c.has("depth_m") {
			pressure = water.Column{Surface: 1, PerMetre: 0.1}.Pressure(c.number("depth_m"))
		}
		rate := gas.Rate(c.number("cyl_L"), c.number("drop_bar"), pressure, c.number("min"))
		c.is("RMV", rate)
		c.published("published", rate, 0.5)
	case c.has("depth", "ascent", "problem_min", "stress_RMV", "divers", "stops"):
		s := gas.Straight{Depth: c.number("depth"), Problem: c.number("problem_min"), Ascent: c.number("ascent")}
		list, _ := c.Inputs["stops"].([]any)
		for _, x := range list {
			if p, _ := x.([]any); len(p) == 2 {
				d, _ := p[0].(float64)
				m, _ := p[1].(float64)
				s.Stops = append(s.Stops, gas.StopTime{Depth: d, Minutes: m})
			}
		}
		litres := gas.Reserve(s, c.number("stress_RMV"), int(math.Round(c.number("divers"))), column)
		c.is("litres", litres)
		c.is("bar_ideal", litres/c.number("cyl_L"))
	default:
		return false
	}
	return true
}
