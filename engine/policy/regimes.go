package policy

import "lastlight/engine/finding"

// defaultRegimes is the table of practice 9.1. Clauses the handbook read only
// as excerpts or restated by others say so in the edition.
func defaultRegimes() []Regime {
	// Practice 0, oxygen cleaning: above 40 % in the US (29 CFR 1910.430(i), as
	// quoted), above 21 % in the EU (EN 144-3/EN 13949 family). Where no source was
	// read the stricter holds.
	const usClean, strictClean = "40.0", "21.0"
	cite := func(document, edition, section string) finding.Citation {
		return finding.Citation{Document: document, Edition: edition, Section: section, DateRead: "2026-11-25"}
	}
	month := func(name, title string, hydro, visual int, c finding.Citation) Regime {
		return Regime{
			Name: name, Title: title, HydroMonths: hydro, VisualMonths: visual,
			Count: "month", Base: "mark", CarryPastDue: "refused", VisualBindsCarriage: true, CleanAboveO2: strictClean, Citation: c,
		}
	}
	us := month("us", "United States", 60, 12, cite("49 CFR 180.209", "read as excerpt", "Table 1; visual: scientific diving manual and trade custom"))
	us.CarryPastDue, us.VisualBindsCarriage, us.CleanAboveO2 = "filled_in_date", false, usClean
	us3ht := month("us_3ht", "United States, 3HT", 36, 12, cite("49 CFR 180.209", "read as excerpt", "Table 1, 3HT"))
	us3ht.CarryPastDue, us3ht.VisualBindsCarriage, us3ht.CleanAboveO2 = "filled_in_date", false, usClean
	uk := month("iso_uk", "United Kingdom, ISO 18119", 60, 12, cite("ISO 18119", "2018, as restated by a national diving body", "periodic inspection"))
	uk.VisualRiskMonths = new(30)
	fr := month("fr", "France", 24, 12, cite("Arrêté du 20 novembre 2017", "read as restated", "art. 18"))
	fr.Count, fr.Base = "exact", "first_service"
	register := fr
	register.Name, register.Title, register.HydroMonths = "fr_register", "France, club register", 72
	au := month("au", "Australia", 12, 12, cite("AS 2030.1 / AS 2337", "read as restated by a test station", "periodic test"))
	au.AlloyRefusedFrom = []AlloyBan{{Alloy: "6351", From: "2017-10-31"}}
	nz := month("nz", "New Zealand", 24, 12, cite("New Zealand test practice", "read as restated by a test station", "dive cylinders"))
	nz.VisualHeavyUseMonths = new(4)
	return []Regime{
		us, us3ht, uk,
		month("de", "Germany", 60, 30, cite("BetrSichV", "read as restated", "Anhang 2 Abschnitt 4 Nr. 7.6 b")),
		month("ch", "Switzerland", 60, 30, cite("Swiss test practice", "read as restated", "dive cylinders")),
		fr, register, au, nz,
		month("ca", "Canada", 60, 12, cite("CSA B339/B340; N.B. Reg. 91-191", "read as excerpt", "s. 339")),
		month("unknown", "country unknown", 60, 12, handbook("practice", "9.1, last row")),
	}
}

// defaultSources cites every cell of Default by the longest path prefix.
func defaultSources() []Source {
	p := func(path, section string) Source { return Source{path, handbook("practice", section)} }
	y := func(path, section string) Source { return Source{path, handbook("physics", section)} }
	r := func(path, section string) Source { return Source{path, handbook("route method", section)} }
	d := func(path, section string) Source { return Source{path, handbook("dates and deadlines", section)} }
	return []Source{
		p("ladder", "2.2"), p("endorsements", "2"), p("team", "2.2, 7"), p("team.cover_required", "8"), p("team.cutting_tools", "7"),
		p("lights", "7, P16"), d("lights", "T43"), p("lines", "5.3 RT3, RT6"), p("lines.primary_reel_m", "5.1"), p("lines.safety_spool_m", "5.1"),
		r("gas", "4"), p("gas.default_rmv_l_min", "4.4, open: the rate of the worked examples"),
		p("gas.sharing_reserve_bar", "4.2, open: twice the gauge tolerance"), p("gas.planned_reserve_bar", "4.2, open: twice the sharing reserve"),
		r("gas.step_bar", "D26"), r("gas.three_donor", "D21"), p("gas.deco_reserve_factor", "4.10"), p("gas.independent_within_bar", "4.11"),
		r("gas.site_opening_share", "8"), p("gas.rebreather_bailout_l_min", "2.2, 4.12"), p("gas.minimum_gas_bar", "4.8, open: none"),
		r("consumption", "6, 8, open: so many and so long as for the usual penetration"), y("consumption", "7"),
		p("speeds", "6"), r("speeds.min_progress", "D5"), r("speeds.contingency_caution", "D5"), r("speeds.pull_and_glide_rmv_factor", "D5"),
		p("speeds.ascent", "4.8"), y("speeds.descent", "8, common practice"), r("speeds.touch_contact_factor", "6"),
		p("flow", "6"), r("flow.inflow_above_m_min", "D38"), p("flow.hold_stop_m_min", "6, open: where high flow begins"),
		p("slow_exit", "6"), r("slow_exit", "D6"),
		d("verification", "T31"), d("verification.far_opening_hours", "T32"), r("verification.counts", "3"), r("verification.min_passed", "D34"), r("verification.halves_warn_share", "D29"),
		p("cavern", "1, 2.2"), d("mix.analysis_days", "T29"), d("mix.o2_tolerance_points", "T30"), d("mix.he_tolerance_points", "T30"), p("mix", "10"), p("mix.calibrated_within_min", "9.3, 10: calibrated each use; two hours are open"),
		y("mix.density_caution_g_l", "5, Anthony & Mitchell 2016, from memory"), y("mix.density_refuse_g_l", "5, Anthony & Mitchell 2016, from memory"),
		y("mix.oxygen_narcotic", "4"), y("mix.switch_nitrogen_share", "8, the rule of fifths: common practice, disputed"),
		d("people.minimum_age", "T24, story 12"), d("people.medical_mode", "T22"), d("people.medical_bands", "T22"), p("people", "11"), d("people.card_seen_by_other", "T23"), d("people.suspension_cleared_by", "T22"),
		d("currency", "T25"), d("currency.endorsement_uses", "T26"), d("currency.endorsement_months", "T26"), d("currency.counted_endorsements", "T26"), d("currency.grace_after_issue_months", "Decided 1"),
		d("first_visit", "T27, T28"), d("readings", "T33"), p("readings.threshold_exceeded", "7, conditions checked at the entrance"),
		d("entry", "T2, open: half an hour"), d("watch", "T36"), d("overlap", "T34"),
		d("cylinders", "T9-T19"), p("cylinders.strict_out_of_test", "9.2 D4"), d("cylinders.due_soon_days", "T3"), p("scooter", "open: common practice, as for a primary light"),
		p("kit", "9.3"), d("kit", "T20, T21"),
		p("decompression", "open: the model's usual setting"), r("decompression.hold_stop_in_restriction", "5"), r("decompression.earlier_dives_hours", "5, open: ten days, after which no compartment holds anything"),
		y("decompression.altitude_m", "9, open: it reads 300 ft, 300 m is common practice"), y("decompression.stop_step_m", "8"), y("decompression.last_stop_m", "8, common practice on oxygen"), y("decompression.min_stop_min", "8"),
		y("oxygen", "3, the published exposure limits; the caution before them is open"), y("oxygen.otu_daily", "3, REPEX for long missions"),
		y("oxygen.air_break_every_min", "8"),
		y("oxygen.air_break_min", "8"),
		r("failures", "6"), d("flying", "T38"), d("first_aid_oxygen", "T39"),
		d("statistics", "T41"), p("retention", "13"), p("retention[letter]", "13, open: common practice, as for the call-out board"), r("waivers", "6"), p("waivers", "2.2"),
	}
}
