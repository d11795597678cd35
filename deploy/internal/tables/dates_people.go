package tables

import (
	"encoding/json"

	"lastlight/engine/calendar"
	"lastlight/engine/due"
	"lastlight/engine/training"
)

func init() {
	dateKinds["card"] = answer(card)
	dateKinds["min_age"] = answer(minAge)
	dateKinds["medical"] = medical
}

func card(f *datesFile, in struct {
	asked
	Card training.Card `json:"card"`
	Asks training.Asks `json:"asks"`
},
) (any, error) {
	all, err := f.zonesOf(in.asked)
	if err != nil {
		return nil, err
	}
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return training.JudgeCard(training.CardQuestion{
		Card: in.Card, Days: days, Entry: in.Entry, SeenDay: calendar.EarliestDay(in.Card.SeenAt, all...), Asks: in.Asks, Limits: f.Policy,
	}), nil
}

func minAge(f *datesFile, in struct {
	asked
	Born   calendar.Day `json:"born"`
	MinAge int          `json:"min_age"`
},
) (any, error) {
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	return training.MinimumAge(in.Born, in.MinAge, days), nil
}

func medical(f *datesFile, input json.RawMessage) (any, error) {
	var in struct {
		asked
		Exam        calendar.Day  `json:"exam"`
		Born        calendar.Day  `json:"born"`
		Mode        string        `json:"mode"`
		Bands       []band        `json:"bands"`
		Declared    calendar.Day  `json:"declared"`
		DoctorUntil calendar.Day  `json:"doctor_until"`
		Accident    *dayOrInstant `json:"accident"`
		Cleared     *dayOrInstant `json:"cleared"`
	}
	keys := map[string]json.RawMessage{}
	if err := json.Unmarshal(input, &in); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(input, &keys); err != nil {
		return nil, err
	}
	_, declarationAsked := keys["declared"]
	rules := due.MedicalRules{ // T22
		Bands: ageBands(f.MedicalBands), Lenient: in.Mode == "lenient",
		DeclarationRequired: declarationAsked, DeclarationMonths: 12,
	}
	if in.Bands != nil {
		rules.Bands = ageBands(in.Bands)
	}
	record := due.Medical{Exam: in.Exam, Born: in.Born, Declared: in.Declared, DoctorUntil: in.DoctorUntil}
	local := func(d *dayOrInstant) (calendar.Day, error) {
		if d == nil || d.at.IsZero() {
			if d == nil {
				return calendar.Day{}, nil
			}
			return d.day, nil
		}
		all, err := f.zonesOf(in.asked)
		return calendar.EarliestDay(d.at, all...), err
	}
	var err error
	if record.Accident, err = local(in.Accident); err != nil {
		return nil, err
	}
	if record.Cleared, err = local(in.Cleared); err != nil {
		return nil, err
	}
	if in.Cleared != nil {
		record.ClearedAt = in.Cleared.at
	}
	days, err := f.days(in.asked)
	if err != nil {
		return nil, err
	}
	if days.Last.IsZero() {
		return due.MedicalReach(record, rules), nil
	}
	return due.MedicalOn(record, days, in.Entry, rules), nil
}
