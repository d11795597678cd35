package rules

import (
	"strings"

	"lastlight/engine/due"
	"lastlight/engine/gear"
	"lastlight/engine/training"
)

// words writes a stable word for a reader.
func words(s string) string {
	if said, ok := codeWords[s]; ok {
		return said
	}
	return strings.ReplaceAll(s, "_", " ")
}

// codeWords are reasons of the engine's packages where the code's own words do not read as the trade's.
var codeWords = map[string]string{
	"reassessment":            "re-assessment",
	training.CardNotSeen:      "nobody else has recorded having seen the card",
	training.CardSeenByHolder: "only the holder has seen the card",
	training.CardEnds:         "the card has ended",
	training.CardNotYetIssued: "the card is issued later",
	due.HydroOverdue:          "hydro test overdue",
	due.VisualOverdue:         "visual inspection overdue",
	due.HydroUnknown:          "no hydro date that counts on record",
	due.VisualUnknown:         "no visual date on record",
	due.NoEddyCurrent:         "no eddy current examination on record",
	due.InspectionNeeded:      "damaged and not inspected since",
	due.AlloyRefused:          "alloy not used under this regime",
	due.FilledOutOfDate:       "filled when it might not be filled",
	due.FillDateUnknown:       "no fill on record",
	due.ServiceUnknown:        "not on record",
	due.ManufactureUnknown:    "manufacture not on record",
	gear.InQuarantine:         "in quarantine",
	gear.NoRegime:             "no rule of its country holds",
	"share":                   "the share of the gas",
	"two_out":                 "two out on one supply",
	"reach":                   "the farthest place allowed",
	"minimum":                 "the minimum pressure",
}

// allWords says several reasons.
func allWords(codes []string) string {
	said := make([]string, len(codes))
	for i, c := range codes {
		said[i] = words(c)
	}
	return strings.Join(said, ", ")
}
