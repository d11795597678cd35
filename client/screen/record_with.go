package screen

import (
	"regexp"
	"slices"
	"strings"

	pb "lastlight/proto/lastlight/v1"
)

// recording are the commands that put on record what a finding did not find, by
// the rule, with its code where one is named, or by the beginning of the path in the input; the first that fits is
// told. PLAN, SITE, PERSON, CARD, DIVE, CYLINDER and ITEM are filled in where known.
var recording = []struct{ rule, path, command string }{
	{"decompression.earlier_dives/open", "divers", "lastlight watch close DIVE"},
	{"decompression.earlier_dives/no_pressure", "divers", "lastlight site update SITE, of that dive"},
	{"decompression.earlier_dives/order", "divers", ""}, // a fault of the program
	{"decompression.earlier_dives", "divers", "lastlight dive update DIVE"},
	{"gas.analysis", "cylinders", "lastlight analysis record CYLINDER"},
	{"cylinder.test", "cylinders", "lastlight cylinder service CYLINDER"},
	{"kit.service", "plan.carries", "lastlight equipment service ITEM"},
	{"", "plan.carries", "lastlight equipment update ITEM"},
	{"", "plan", "lastlight plan update PLAN, then lastlight plan submit PLAN"},
	{"", "route", "lastlight plan update PLAN -f FILE; the line itself: lastlight survey create"},
	{"", "site.readings", "lastlight reading record SITE"},
	{"", "site.permits", "lastlight permit create"},
	{"", "site.verifications", ""}, // dives that are to be made first
	{"", "site.openings", ""},
	{"", "site.bottoms", "lastlight survey create"},
	{"", "site", "lastlight site update SITE"},
	{"", "divers.cards[", "lastlight card seen PERSON CARD, by somebody else"},
	{"", "divers.cards", "lastlight card add PERSON CARD; somebody else: lastlight card seen PERSON CARD"},
	{"", "divers.medical", "lastlight person medical PERSON"},
	{"", "divers.dives", "lastlight dive record"},
	{"", "divers", "lastlight person update PERSON"},
	{"", "cylinders", "lastlight cylinder update CYLINDER"},
	{"", "items", "lastlight equipment update ITEM"},
}

// RecordingCommands are the commands that findings name, for a test that they exist.
func RecordingCommands() []string {
	var out []string
	for _, r := range recording {
		if r.command != "" {
			out = append(out, r.command)
		}
	}
	return out
}

var ofDiver = regexp.MustCompile(`^(divers)\[\d+\]`)

// follows are the codes of what follows from something else that is not known: nothing is recorded for it.
var follows = []string{"start", "level_unknown", "route_unknown", "not_computed", "cannot_compute", "cannot_tell", "no_answer"}

// recordWith is the command that puts on record what a finding of a plan did not find; empty: it found what it asked for, or no
// command gives it.
func recordWith(f *pb.Finding, plan string) string {
	path := ofDiver.ReplaceAllString(f.GetPath(), "$1")
	if f.GetStatus() != "indeterminate" || path == "" || slices.Contains(follows, f.GetCode()) {
		return ""
	}
	for _, r := range recording {
		if r.rule != "" && r.rule != f.GetRule() && r.rule != f.GetRule()+"/"+f.GetCode() || !strings.HasPrefix(path, r.path) {
			continue
		}
		known := []string{}
		fill := func(word, id string) {
			if id != "" {
				known = append(known, word, id)
			}
		}
		fill("PLAN", plan)
		switch s := f.GetSubject(); s.GetKind() {
		case "diver":
			fill("PERSON", s.GetId())
		case "cylinder":
			fill("CYLINDER", s.GetId())
		case "item":
			fill("ITEM", s.GetId())
		case "site":
			fill("SITE", s.GetId())
		}
		for _, x := range f.GetRecords() {
			switch x.GetKind() {
			case "card":
				fill("CARD", x.GetId())
			case "dive":
				fill("DIVE", x.GetId())
			}
		}
		return strings.NewReplacer(known...).Replace(r.command)
	}
	return ""
}
