// Package ownrules judges the club's own rules: expressions in CEL, the Common Expression Language, over a typed view of a plan
// and of what the built-in rules said about it. A rule has no clock, no I/O and no chance, is checked for types and for what it
// can cost before it is entered, and can do one thing only: add a finding.
//
// CEL and its library were chosen because the language cannot loop without a list, cannot call out, has a cost that is known
// beforehand and is specified apart from any program (github.com/google/cel-spec).
package ownrules

// View is what an expression reads. The tag cel is the field's name in an expression, doc is its meaning with unit and range. A
// pointer is a value that may not be on record: reading it then is an error, which blocks; has(…) asks whether it is there. A
// field with the tag own stands in the person's own records (age, training, consumption) and is shown only to who may read those.
//
// Nothing of health is in it, nor what the built-in rules said about health.
type View struct {
	Plan      Plan       `cel:"plan" doc:"the plan as a whole"`
	Site      Site       `cel:"site" doc:"the site, and the reading of the day of entry"`
	Team      []Diver    `cel:"team" doc:"the divers in the water"`
	Supplies  []Supply   `cel:"supplies" doc:"the gas supplies: a single cylinder, or cylinders joined by a manifold"`
	Cylinders []Cylinder `cel:"cylinders" doc:"each cylinder of the supplies"`
	Items     []Item     `cel:"items" doc:"lights, reels, spools, scooters … that the plan names"`
	Report    Report     `cel:"report" doc:"what the built-in rules said"`
}

// Plan is the plan and its route.
type Plan struct {
	ID           string   `cel:"id" doc:"the plan's id"`
	Kind         string   `cel:"kind" doc:"normal, set_up, clean_up, training or site_opening"`
	Night        *bool    `cel:"night" doc:"whether part of it is after dark"`
	VerifiedLegs bool     `cel:"verified_legs" doc:"whether it counts on verified legs"`
	EntryDay     *string  `cel:"entry_day" doc:"day of the planned entry at the site, as in \"2026-03-31\"; compare with < and >="`
	Weekday      *int64   `cel:"weekday" doc:"of that day, 1 Monday to 7 Sunday"`
	EntryMin     *int64   `cel:"entry_min" doc:"minutes from midnight to the planned entry, on the site's clocks, 0 to 1439"`
	RuntimeMin   *float64 `cel:"runtime_min" doc:"surface to surface, stops included, min"`
	TurnMin      *float64 `cel:"turn_min" doc:"minutes into the dive at which it turns at the latest"`
	StopMin      *int64   `cel:"stop_min" doc:"stops as planned, min in all"`
	MaxDepthM    *float64 `cel:"max_depth_m" doc:"greatest depth of the route, m"`
	PenetrationM *float64 `cel:"penetration_m" doc:"greatest distance from the way out, m along the line"`
	Jumps        *int64   `cel:"jumps" doc:"legs without a permanent line"`
	Gaps         *int64   `cel:"gaps" doc:"gaps in the line"`
	Minor        *int64   `cel:"minor_restrictions" doc:"minor restrictions passed"`
	Major        *int64   `cel:"major_restrictions" doc:"major restrictions passed"`
	Circuit      *bool    `cel:"circuit" doc:"whether it goes round a circuit"`
	Traverse     *bool    `cel:"traverse" doc:"whether it leaves by another opening"`
	FlowMMin     *float64 `cel:"strongest_flow_m_min" doc:"strongest flow on the route as surveyed, m/min, whichever its direction"`
	Standby      int64    `cel:"standby" doc:"how many stand by"`
	Cover        int64    `cel:"cover" doc:"how many are the surface cover"`
}

// Site is the site.
type Site struct {
	ID          string   `cel:"id" doc:"the site's id"`
	Grade       *int64   `cel:"grade" doc:"the club's grade, 1 to 5"`
	AltitudeM   *float64 `cel:"altitude_m" doc:"m above the sea"`
	WaterC      *float64 `cel:"water_c" doc:"temperature of the water, °C"`
	LevelM      *float64 `cel:"level_m" doc:"water level of the last reading of the day of entry, m"`
	Flow        *string  `cel:"flow" doc:"flow class of that reading"`
	VisibilityM *float64 `cel:"visibility_m" doc:"visibility of that reading, m"`
}

// Diver is one diver of the team.
type Diver struct {
	ID            string   `cel:"id" doc:"the person, under the pseudonym of the records"`
	Leader        bool     `cel:"leader" doc:"leads the team"`
	Instructor    bool     `cel:"instructor" doc:"acts as instructor on this dive"`
	Scooter       bool     `cel:"scooter" doc:"rides a scooter"`
	Guest         bool     `cel:"guest" doc:"dives as a guest"`
	Level         *string  `cel:"level" own:"yes" doc:"level that the diver counts as here, lapse and step included"`
	Endorsements  []string `cel:"endorsements" own:"yes" doc:"endorsements that count"`
	AgeYears      *int64   `cel:"age_years" own:"yes" doc:"on the day of entry"`
	SinceLastDays *int64   `cel:"days_since_last_dive" own:"yes" doc:"days from the last recorded dive to the day of entry"`
	BeenHere      *bool    `cel:"been_here" own:"yes" doc:"has a recorded dive at this site"`
	RMVLMin       *float64 `cel:"consumption_l_min" own:"yes" doc:"consumption at the surface, L/min"`
}

// Supply is one gas supply of one diver.
type Supply struct {
	ID        string   `cel:"id" doc:"what the route calls it"`
	Diver     string   `cel:"diver" doc:"whose it is, as in diver.id"`
	Role      string   `cel:"role" doc:"main, stage or deco"`
	Cylinders []string `cel:"cylinders" doc:"ids of its cylinders"`
	VolumeL   *float64 `cel:"volume_l" doc:"water volume of all its cylinders, L"`
	StartBar  *float64 `cel:"start_bar" doc:"pressure at the start, measured if it was, else planned, bar"`
	O2        *float64 `cel:"o2_percent" doc:"oxygen as planned, per cent"`
	He        *float64 `cel:"he_percent" doc:"helium as planned, per cent"`
}

// Cylinder is one cylinder of a supply. Dates are as recorded, "2026-03" or "2026-03-31"; of two, < finds the earlier.
type Cylinder struct {
	ID         string   `cel:"id" doc:"the cylinder, as in supply.cylinders"`
	Supply     string   `cel:"supply" doc:"which supply it is of, as in supply.id"`
	Diver      string   `cel:"diver" doc:"who carries it, as in diver.id"`
	Role       string   `cel:"role" doc:"main, stage or deco"`
	VolumeL    *float64 `cel:"volume_l" doc:"water volume, L"`
	RatedBar   *float64 `cel:"rated_bar" doc:"working pressure, bar"`
	Material   *string  `cel:"material" doc:"what it is made of, as recorded"`
	Regime     *string  `cel:"regime" doc:"country whose rules it is under, as recorded"`
	Clean      *bool    `cel:"oxygen_clean" doc:"whether it is clean for oxygen"`
	Made       *string  `cel:"made" doc:"date of manufacture"`
	Hydro      *string  `cel:"last_hydro" doc:"date of the last hydro test on record"`
	Visual     *string  `cel:"last_visual" doc:"date of the last visual inspection on record"`
	FilledOn   *string  `cel:"filled_on" doc:"day of the last fill on record"`
	AnalysedO2 *float64 `cel:"analysed_o2_percent" doc:"oxygen by the last analysis on record, which a later fill may have ended, per cent"`
	AnalysedHe *float64 `cel:"analysed_he_percent" doc:"helium by the same, per cent"`
	AnalysedBy *string  `cel:"analysed_by" doc:"by whom that was, as in diver.id"`
}

// Item is one item that a diver carries.
type Item struct {
	ID      string   `cel:"id" doc:"the item's id"`
	Kind    string   `cel:"kind" doc:"primary_light, backup_light, reel, spool, marker, arrow, cutting_tool, mask or scooter"`
	Diver   string   `cel:"diver" doc:"who carries it, as in diver.id"`
	Count   int64    `cel:"count" doc:"how many of it"`
	BurnMin *float64 `cel:"burn_min" doc:"tested burn time of a light, battery of a scooter, min"`
	LengthM *float64 `cel:"length_m" doc:"line on a reel or spool, m"`
	Made    *string  `cel:"made" doc:"date of manufacture"`
	Checked *string  `cel:"last_check" doc:"date of the last service, check or test on record, whatever its kind"`
}

// Report is what the built-in rules said.
type Report struct {
	Verdict  string    `cel:"verdict" doc:"worst status: refuse, indeterminate, needs_waiver, caution, note, pass"`
	Findings []Finding `cel:"findings" doc:"all of them, worst first, less those about health, age, cards and consumption"`
}

// Finding is one answer of a built-in rule.
type Finding struct {
	Rule        string   `cel:"rule" doc:"the rule, e.g. \"route.sharing_exit\""`
	Status      string   `cel:"status" doc:"refuse, indeterminate, needs_waiver, caution, note, pass or not_applicable"`
	Code        string   `cel:"code" doc:"what was found, in one word"`
	SubjectKind string   `cel:"subject_kind" doc:"plan, site, diver, cover, cylinder, item, station, leg or move"`
	Subject     string   `cel:"subject" doc:"its id"`
	Observed    *float64 `cel:"observed" doc:"what was measured, in unit"`
	Limit       *float64 `cel:"limit" doc:"what it was compared with, in unit"`
	Unit        string   `cel:"unit" doc:"of observed and limit"`
}
