package rpc

import (
	"context"
	"slices"
	"strings"
	"time"

	"lastlight/engine"
	"lastlight/engine/calendar"
	"lastlight/engine/consumption"
	"lastlight/engine/gas"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/dates"
	"lastlight/server/internal/facts"
	"lastlight/server/internal/fault"
)

// GetConsumption tells how much a person breathes by their recorded dives, up to a day.
func (h *Roster) GetConsumption(ctx context.Context, r *lastlightv1.GetConsumptionRequest) (*lastlightv1.MeasuredConsumption, error) {
	person := r.Person
	if person == "" {
		person = access.CallerFrom(ctx).Person
	}
	if _, err := h.may(ctx, "GetConsumption", person); err != nil {
		return nil, err
	}
	problems := fault.Collect("")
	dates.Day(problems, "day", r.Day)
	if err := problems.Err(); err != nil {
		return nil, err
	}
	now := h.Store.Now()
	at := now
	if r.Day != "" {
		start, err := time.Parse(time.DateOnly, r.Day)
		if err != nil {
			return nil, err
		}
		at = start.AddDate(0, 0, 2) // to the end of the day in every zone; the engine judges the day
	}
	records, err := h.Store.GatherConsumption(ctx, person, at, now)
	if err != nil {
		return nil, err
	}
	on := dates.Today(now, records.ClubZone)
	if r.Day != "" {
		if on, err = calendar.ParseDay(r.Day); err != nil {
			return nil, err
		}
	}
	dives, err := facts.Breathed(records.Dives, person, h.Zones)
	if err != nil {
		return nil, err
	}
	rules := facts.ConsumptionRules(&records.Policy)
	out := &lastlightv1.MeasuredConsumption{
		Person: person, Day: on.String(), Asked: int32(rules.Dives), WithinMonths: int32(rules.Months), Policy: records.PolicyID, EngineVersion: engine.Version,
	}
	var rates []consumption.Rate
	for _, d := range slices.Backward(dives) {
		if !rules.Within(d.Day, on) {
			continue
		}
		counted, refused := consumption.Read(d, gas.Model(records.Policy.Gas.Model))
		rates = append(rates, counted...)
		for _, x := range counted {
			out.Dives = append(out.Dives, &lastlightv1.MeasuredDive{
				Dive: x.Dive, Day: x.Day.String(), Way: string(x.Way), LMin: x.LMin, Litres: x.Litres, Minutes: x.Minutes, MeanBar: x.MeanBar(),
				Cylinders: x.Cylinders, Remarks: inWords(x.Remarks, remarkWords),
			})
		}
		for _, x := range refused {
			out.NotCounted = append(out.NotCounted, &lastlightv1.UnmeasuredDive{
				Dive: x.Dive, Day: x.Day.String(), Way: string(x.Way), Cylinders: x.Cylinders, Reasons: inWords(x.Why, reasonWords), Codes: asCodes(x.Why),
			})
		}
	}
	figures := consumption.Figures(rates, on, rules)
	for _, f := range figures {
		out.Figures = append(out.Figures, &lastlightv1.ConsumptionFigure{
			Way: string(f.Way), MedianLMin: consumption.Up(f.Median), WorstLMin: consumption.Up(f.Worst), Dives: int32(f.N()),
			From: f.First.String(), To: f.Last.String(), Enough: rules.Counts(f.N()),
		})
	}
	if rate := records.Person.Consumption; rate != nil {
		out.StatedLMin = new(rate.GetLitresPerMinute())
	}
	if rate := records.Person.WorstConsumption; rate != nil {
		out.StatedWorstLMin = new(rate.GetLitresPerMinute())
	}
	chosen := engine.SwumRate(facts.Consumption(records.Person, figures), &records.Policy)
	out.CountsLMin, out.Origin = chosen.LMin, chosen.Origin
	if chosen.WorstLMin > 0 {
		out.WorstLMin = &chosen.WorstLMin
	}
	return out, nil
}

// asCodes are the reasons as stable words.
func asCodes(why []consumption.Reason) (out []string) {
	for _, r := range why {
		out = append(out, string(r))
	}
	return out
}

// inWords puts reasons and remarks into words.
func inWords[T ~string](all []T, words map[T]string) (out []string) {
	for _, x := range all {
		text, ok := words[x]
		if !ok {
			text = strings.ReplaceAll(string(x), "_", " ")
		}
		out = append(out, text)
	}
	return out
}

var reasonWords = map[consumption.Reason]string{
	consumption.Shared:      "gas was shared",
	consumption.Lost:        "gas was lost",
	consumption.Filled:      "filled between in and out",
	consumption.SetAside:    "set aside as not typical",
	consumption.NoPressure:  "start or end pressure not recorded",
	consumption.NoGas:       "the gas is not recorded",
	consumption.NoVolume:    "the cylinders are not in the register, and the dive does not say their volume",
	consumption.NoWater:     "the site says neither altitude nor barometer",
	consumption.NoDepth:     "neither a profile nor a mean depth",
	consumption.NotApart:    "two ways of moving, or two gases, that cannot be told apart",
	consumption.StopsToo:    "the required stops were breathed from the same gas",
	consumption.NotOut:      "nothing was breathed from it, or the profile does not say when",
	consumption.Implausible: "more or less than anybody breathes: look at pressures and times",
	consumption.OutOfRange:  "a value that no gauge shows",
}

var remarkWords = map[consumption.Remark]string{
	consumption.NoTemperature:  "no temperature recorded: 20 °C taken",
	consumption.OneTemperature: "one temperature recorded, taken for start and end",
	consumption.MeanDepth:      "no profile: mean depth as recorded, time by the register",
}
