package fillstation

import (
	"errors"
	"fmt"

	"lastlight/engine/gas"
	"lastlight/engine/policy"
	"lastlight/engine/water"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/fault"
)

// Contents tells what a cylinder holds.
func Contents(r *lastlightv1.GetContentsRequest) (*lastlightv1.Contents, error) {
	p := fault.Collect("")
	m := inSI(r, p)
	if (m.Gas == nil) != m.PureHelium {
		p.Add("gas", "", "either gas or pure_helium", "one of the two must be given, and one only")
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	mix := mixOr(m.Gas, gas.Mix{He: 1})
	volume, gauge, t := m.WaterVolume.GetLitres(), m.Pressure.GetBar(), kelvin(m.TemperatureC)
	f, err := gas.NewFilling(gas.Real, mix, t, water.SeaLevelBar)
	if err != nil {
		return nil, err
	}
	v, err := gas.NewVirial(gas.CompositionOf(mix), t)
	if err != nil {
		return nil, err
	}
	return &lastlightv1.Contents{
		Litres: down(f.Litres(volume, gauge), 1), IdealLitres: round(volume*gauge, 1),
		Compressibility: round(v.Z(gauge+water.SeaLevelBar), 4), Grams: round(f.Moles(volume, gauge)*mix.MolarMass(), 1),
	}, nil
}

// Settled tells what a closed cylinder shows at another temperature.
func Settled(r *lastlightv1.GetSettledPressureRequest) (*lastlightv1.SettledPressure, error) {
	p := fault.Collect("")
	m := inSI(r, p)
	if err := p.Err(); err != nil {
		return nil, err
	}
	at := func(model gas.Model) (float64, error) {
		return gas.AtTemperature(model, mixOf(m.Gas), m.Pressure.GetBar(), water.SeaLevelBar, m.GetFromC()+zeroCelsius, m.GetToC()+zeroCelsius)
	}
	real, err := at(gas.Real)
	if err != nil {
		return nil, err
	}
	ideal, err := at(gas.Ideal)
	if err != nil {
		return nil, err
	}
	shown := down(real, 1) // less gas than there is, or where it warms a pressure to beware of
	if m.GetToC() > m.GetFromC() {
		shown = up(real, 1)
	}
	return &lastlightv1.SettledPressure{Bar: shown, IdealBar: round(ideal, 1)}, nil
}

var ingredients = map[string]gas.Ingredient{"helium": gas.AddHelium, "oxygen": gas.AddOxygen, "top_up": gas.AddTopUp}

// Blend works a blend sheet out.
func Blend(r *lastlightv1.GetBlendSheetRequest, pol *policy.Policy) (*lastlightv1.BlendSheet, error) {
	p := fault.Collect("")
	m := inSI(r, p)
	q := gas.Blend{
		Volume: m.WaterVolume.GetLitres(), Kelvin: kelvin(m.TemperatureC), Surface: water.SeaLevelBar,
		Now: mixOr(m.PresentGas, gas.Air), NowBar: m.PresentPressure.GetBar(), Target: mixOf(m.Gas), ToBar: m.Pressure.GetBar(),
		MostBar: m.WorkingPressure.GetBar(), TopUp: mixOr(m.TopUp, gas.Air), ReadBar: 1, Tolerance: tolerance(pol), Unseen: gas.Unseen,
	}
	if m.BarometerBar != nil {
		q.Surface = *m.BarometerBar
	}
	if m.ReadingErrorBar != nil {
		q.ReadBar = *m.ReadingErrorBar
	}
	checkPressures(p, m.PresentGas, q.NowBar, q.ToBar, q.MostBar)
	if n := len(m.Order); n != 0 && n != 3 {
		p.Add("order", fmt.Sprint(m.Order), "helium, oxygen and top_up, each once, or nothing", "an order names all three")
	}
	for _, word := range m.Order {
		q.Order = append(q.Order, ingredients[word])
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	out := &lastlightv1.BlendSheet{Reachable: true, StartBar: q.NowBar, ReadingErrorBar: q.ReadBar}
	sheet, err := q.Sheet()
	if cannot, ok := errors.AsType[*gas.CannotReach](err); ok {
		if cannot.DrainTo < 0 {
			return &lastlightv1.BlendSheet{WhyNot: cannot.Error(), StartBar: q.NowBar}, nil
		}
		to := down(cannot.DrainTo, 1)
		out.WhyNot, out.BleedToBar, out.StartBar = "too much "+cannot.Of+" in the cylinder", &to, to
		q.NowBar = to
		sheet, err = q.Sheet()
		if _, ok := errors.AsType[*gas.CannotReach](err); ok { // what would do lies between two tenths of a bar
			return &lastlightv1.BlendSheet{WhyNot: fmt.Sprintf("%s, and bled down to %s it cannot be made either", out.WhyNot, bar(to)), StartBar: m.PresentPressure.GetBar()}, nil
		}
	}
	if err != nil {
		p.Add("pressure", bar(q.ToBar), "a pressure this cylinder may be filled to at that temperature", err.Error())
		return nil, p.Err()
	}
	out.Reachable = out.BleedToBar == nil
	sheetOut(out, sheet, q, m.OxygenClean, m.Jurisdiction, pol)
	return out, nil
}

func checkPressures(p *fault.Problems, present *lastlightv1.GasMix, now, to, most float64) {
	if now > 0 && present == nil {
		p.Add("present_gas", "", "oxygen and helium in percent", "there is gas in the cylinder: what it is cannot be guessed")
	}
	if to > most {
		p.Add("pressure", bar(to), "at most "+bar(most), "above the working pressure of the cylinder")
	}
	if now > most {
		p.Add("present_pressure", bar(now), "at most "+bar(most), "above the working pressure of the cylinder: let it cool, have it looked at")
	}
	if to < now {
		p.Add("pressure", bar(to), "at least "+bar(now), "less than what is in the cylinder: bleed it down first")
	}
}

func sheetOut(out *lastlightv1.BlendSheet, sheet *gas.BlendSheet, q gas.Blend, clean, jurisdiction string, pol *policy.Policy) {
	names := map[gas.Ingredient]string{}
	for word, i := range ingredients {
		names[i] = word
	}
	const litresPerMole = gas.R * gas.ReferenceKelvin
	for _, s := range sheet.Steps {
		if s.Moles == 0 {
			continue
		}
		out.Steps = append(out.Steps, &lastlightv1.BlendStep{
			Add: names[s.Add], ToBar: round(s.ToBar, 2), RiseBar: round(s.AddedBar, 2), Grams: round(s.Grams, 1), Litres: round(s.Moles*litresPerMole, 1),
			IdealToBar: round(s.IdealToBar, 2), OxygenPercent: round(100*s.After.O2, 2), HeliumPercent: round(100*s.After.He, 2),
		})
	}
	allowed := tolerance(pol)
	out.Makes, out.IdealMakes = percent(sheet.Makes, 2), percent(sheet.IdealGives, 2)
	out.Least = &lastlightv1.GasMix{OxygenPercent: down(100*sheet.Low.O2, 2), HeliumPercent: down(100*sheet.Low.He, 2)}
	out.Most = &lastlightv1.GasMix{OxygenPercent: up(100*sheet.High.O2, 2), HeliumPercent: up(100*sheet.High.He, 2)}
	out.OxygenTolerancePercent, out.HeliumTolerancePercent = round(100*allowed.O2, 2), round(100*allowed.He, 2)
	const slack = 1e-9
	out.WithinTolerance = sheet.High.O2-q.Target.O2 <= allowed.O2+slack && q.Target.O2-sheet.Low.O2 <= allowed.O2+slack &&
		sheet.High.He-q.Target.He <= allowed.He+slack && q.Target.He-sheet.Low.He <= allowed.He+slack
	out.SettlesBar = up(sheet.SettlesBar, 1)
	out.NeedsOxygenClean = sheet.OxygenClean(q, cleanAbove(pol, jurisdiction))
	out.CleanEnough = "yes"
	if out.NeedsOxygenClean {
		switch clean {
		case "clean":
			out.Notices = append(out.Notices, "The cylinder, its valve and the whip must be clean for oxygen: it is on record so; any doubt makes it not clean.")
		case "not_clean":
			out.CleanEnough = "no"
			out.Notices = append(out.Notices, "NOT CLEAN FOR OXYGEN: do not make this fill in this cylinder.")
		default:
			out.CleanEnough = "cannot_tell"
			out.Notices = append(out.Notices, "Not known to be clean for oxygen: do not make this fill until it is.")
		}
	}
	if !out.WithinTolerance {
		out.Notices = append(out.Notices, fmt.Sprintf("A gauge misread by %s can put the mix outside the tolerance: read it finer, or weigh the gas.", bar(q.ReadBar)))
	}
	out.Notices = append(out.Notices,
		"Pressures hold at the temperature given: fill slowly, let it come to that temperature before each reading.",
		"For trained blenders. Let the gas mix, then the person who breathes it analyses it; the analysis decides, not this sheet.",
	)
}

// bottles lists storage bottles, those alike one after the other.
func bottles(list []*lastlightv1.GasBottle) []gas.Bottle {
	var out []gas.Bottle
	for _, b := range list {
		for range max(1, b.Count) {
			out = append(out, gas.Bottle{Volume: b.WaterVolume.GetLitres(), Bar: b.Pressure.GetBar()})
		}
	}
	return out
}

// Cascade works out the order of a bank's bottles.
func Cascade(r *lastlightv1.GetCascadeRequest) (*lastlightv1.Cascade, error) {
	p := fault.Collect("")
	m := inSI(r, p)
	in := mixOr(m.BankGas, gas.Air)
	q := gas.Cascade{
		Kelvin: kelvin(m.TemperatureC), Surface: water.SeaLevelBar, Gas: in, Bank: bottles(m.Bank), Volume: m.WaterVolume.GetLitres(),
		Now: mixOr(m.PresentGas, in), NowBar: m.PresentPressure.GetBar(), ToBar: m.Pressure.GetBar(),
	}
	present := m.PresentGas
	if present == nil {
		present = percent(in, 2)
	}
	checkPressures(p, present, q.NowBar, q.ToBar, m.WorkingPressure.GetBar())
	if err := p.Err(); err != nil {
		return nil, err
	}
	result, err := q.Fill()
	if err != nil {
		return nil, err
	}
	settles, err := gas.AtTemperature(gas.Real, result.Makes, result.Bar, q.Surface, q.Kelvin, gas.RatedKelvin)
	if err != nil {
		return nil, err
	}
	if most := m.WorkingPressure.GetBar(); settles > most+0.05 {
		p.Add("pressure", bar(q.ToBar), "a pressure this cylinder may be filled to at that temperature",
			fmt.Sprintf("%s at %.0f °C becomes %s at %.0f °C, the cylinder is rated for %s", bar(result.Bar), q.Kelvin-zeroCelsius, bar(settles), gas.RatedKelvin-zeroCelsius, bar(most)))
		return nil, p.Err()
	}
	out := &lastlightv1.Cascade{ReachesBar: down(result.Bar, 1), Enough: result.Bar >= q.ToBar-0.05, Makes: percent(result.Makes, 2)}
	for _, s := range result.Steps {
		out.Steps = append(out.Steps, &lastlightv1.CascadeStep{
			Bottle: int32(s.Bottle + 1), BottleFromBar: round(q.Bank[s.Bottle].Bar, 1), BottleToBar: round(s.BottleBar, 1), CylinderToBar: round(s.CylinderBar, 1),
		})
	}
	return out, nil
}
