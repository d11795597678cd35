package screen

import (
	"fmt"
	"strconv"
	"strings"

	"lastlight/client/table"
	pb "lastlight/proto/lastlight/v1"
)

// wayWords say what a diver was doing while gas was breathed.
var wayWords = map[string]string{"": "whole dive", "swimming": "swimming", "pull_and_glide": "pull-and-glide", "scooter": "scooter", "decompression": "decompression"}

// rateOrigins say whose figure a consumption is.
var rateOrigins = map[string]string{"measured": "measured on recorded dives", "stated": "stated by hand", "policy_default": "the policy's default"}

// Consumption shows how much a person breathes, and every dive behind it.
func (w View) Consumption(x *pb.MeasuredConsumption) error {
	if !w.Page {
		return w.consumptionRows(x)
	}
	p := &page{w: w}
	p.headline("CONSUMPTION  " + x.GetPerson() + "  " + x.GetDay())
	if origin := rateOrigins[x.GetOrigin()]; origin != "" {
		p.label(0, "A plan takes", w.Units.Rate(x.GetCountsLMin())+", "+origin)
	} else {
		p.label(0, "A plan takes", "cannot tell: nothing measured, nothing stated, no default; a plan is blocked")
	}
	if x.WorstLMin != nil {
		p.label(0, "At worst", w.Units.Rate(x.GetWorstLMin()))
	} else {
		p.label(0, "At worst", "none recorded: no plan is reckoned at it")
	}
	if x.StatedLMin != nil {
		p.label(0, "Stated", w.Units.Rate(x.GetStatedLMin())+"; the higher of it and what is measured counts")
	}
	if x.StatedWorstLMin != nil {
		p.label(0, "Stated worst", w.Units.Rate(x.GetStatedWorstLMin()))
	}
	switch {
	case x.GetAsked() == 0:
		p.line("The policy in force learns nothing from dives.")
	case len(x.GetFigures()) == 0:
		p.line("Nothing measured in %s; %s are asked.", count(x.GetWithinMonths(), "month", "months"), count(x.GetAsked(), "dive", "dives"))
	}
	for _, f := range x.GetFigures() {
		p.blank()
		said := count(f.GetDives(), "dive", "dives") + ", " + f.GetFrom() + " to " + f.GetTo()
		if !f.GetEnough() {
			said += fmt.Sprintf("; %d asked in %s: TOO FEW to count", x.GetAsked(), count(x.GetWithinMonths(), "month", "months"))
		}
		p.label(0, wayWords[f.GetWay()], said)
		p.label(2, "median", w.Units.Rate(f.GetMedianLMin()))
		p.label(2, "worst tenth", w.Units.Rate(f.GetWorstLMin()))
	}
	if len(x.GetDives()) > 0 {
		p.blank()
		p.line("Dives that count")
		for _, d := range x.GetDives() {
			p.label(2, d.GetDay()+" "+d.GetDive(), strings.Join(append([]string{
				fmt.Sprintf("%s %s: %s, %.0f min at %.2f bar", w.Units.Rate(d.GetLMin()), wayWords[d.GetWay()], w.Units.Litres(d.GetLitres()), d.GetMinutes(), d.GetMeanBar()),
			}, d.GetRemarks()...), "; "))
		}
	}
	if len(x.GetNotCounted()) > 0 {
		p.blank()
		p.line("Dives that do not count")
		var reasons []string
		of := map[string][]string{} // a log from before this system has many of one reason
		for _, d := range x.GetNotCounted() {
			said := strings.Join(d.GetReasons(), "; ")
			if len(d.GetCylinders()) > 0 {
				said = strings.Join(d.GetCylinders(), " + ") + ": " + said
			}
			if of[said] == nil {
				reasons = append(reasons, said)
			}
			of[said] = append(of[said], d.GetDive())
		}
		for _, said := range reasons {
			p.indented(2, said+":")
			p.indented(4, strings.Join(of[said], ", "))
		}
	}
	p.blank()
	p.label(0, "Rules", x.GetPolicy())
	p.label(0, "Engine", x.GetEngineVersion())
	p.line("%s", Cautions[0])
	return p.err
}

// consumptionRows is one line for each dive, counted or not.
func (w View) consumptionRows(x *pb.MeasuredConsumption) error {
	t := table.Table{Columns: []table.Column{{Title: "day"}, {Title: "dive"}, {Title: "way"}, {Title: "counts"}, {Title: "L/min"}, {Title: "litres"}, {Title: "minutes"}, {Title: "mean bar"}, {Title: "said"}}}
	decimal := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	for _, d := range x.GetDives() {
		t.Rows = append(t.Rows, []string{d.GetDay(), d.GetDive(), d.GetWay(), "true", decimal(d.GetLMin(), 2), decimal(d.GetLitres(), 1), decimal(d.GetMinutes(), 1), decimal(d.GetMeanBar(), 3), strings.Join(d.GetRemarks(), "; ")})
	}
	for _, d := range x.GetNotCounted() {
		t.Rows = append(t.Rows, []string{d.GetDay(), d.GetDive(), d.GetWay(), "false", "", "", "", "", strings.Join(d.GetReasons(), "; ")})
	}
	return w.Table(t)
}
