package access

import (
	"slices"
	"strings"
	"testing"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// promise is what the club promises its people about who sees what, in words, written down apart from the table under test: roles
// and relations; a star marks those that see it only while the watch runs. Roles are in the words of the interface.
var promise = map[Group]string{
	Directory:    "diver leader coordinator cover blender safety_officer medical_officer welfare_officer site_officer committee self ward leads inteam covers",
	Reach:        "coordinator committee welfare_officer cover* self ward leads covers*",
	Medical:      "self coordinator medical_officer",
	Restriction:  "self medical_officer",
	Contacts:     "self cover* coordinator* covers*",
	Training:     "self coordinator leads",
	CardNumber:   "self coordinator",
	Minor:        "self ward coordinator welfare_officer",
	Place:        "site_officer coordinator cover* covers*",
	Board:        "cover coordinator leads inteam covers",
	Identities:   "safety_officer",
	Narrative:    "safety_officer self",
	GearDates:    "blender coordinator self leads inteam covers",
	WaiverFact:   "coordinator committee safety_officer leads inteam covers",
	WaiverReason: "coordinator committee safety_officer",
}

var relationWords = map[Relation]string{Self: "self", Ward: "ward", Leads: "leads", InTeam: "inteam", Covers: "covers"}

func promised(g Group, word string, watch bool) bool {
	for _, w := range strings.Fields(promise[g]) {
		if w == word || watch && w == word+"*" {
			return true
		}
	}
	return false
}

func TestEveryGroupByEveryRole(t *testing.T) {
	for g := Directory; g < groupsEnd; g++ {
		if promise[g] == "" {
			t.Fatalf("group %d: nothing is promised", g)
		}
		if (&Caller{}).Sees(g, Subject{Relation: relationEnd - 1}) {
			t.Errorf("group %d: nobody in particular sees it", g)
		}
		for role := range Everybody.Each() {
			there := NewCaller("", Token{Person: "p"}, []Grant{{Role: role, Expedition: "spring"}})
			for _, watch := range []Relation{0, WatchRuns} {
				want := promised(g, role.String(), watch != 0)
				if got := there.Sees(g, Subject{Expeditions: []string{"spring"}, Relation: watch}); got != want {
					t.Errorf("group %d, %s, watch %v: %v, want %v", g, role, watch != 0, got, want)
				}
				if there.Sees(g, Subject{Expeditions: []string{"autumn"}, Relation: watch}) {
					t.Errorf("group %d, %s of another expedition, watch %v sees it", g, role, watch != 0)
				}
			}
		}
		for relation, word := range relationWords {
			for _, watch := range []Relation{0, WatchRuns} {
				c := NewCaller("", Token{Person: "p"}, nil)
				want := promised(g, word, watch != 0)
				if relation == Leads {
					c = NewCaller("", Token{Person: "p"}, []Grant{{Role: Leader, Expedition: "spring"}})
					want = want || promised(g, "leader", watch != 0)
				}
				if got := c.Sees(g, Subject{Expeditions: []string{"spring"}, Relation: relation | watch}); got != want {
					t.Errorf("group %d, %s, watch %v: %v, want %v", g, word, watch != 0, got, want)
				}
			}
		}
	}
}

func whole() *lastlightv1.Person {
	text := func(s string) *string { return &s }
	rate := &lastlightv1.SurfaceRate{Unit: &lastlightv1.SurfaceRate_LitresPerMinute{LitresPerMinute: 18}}
	return &lastlightv1.Person{
		Id: "asta", FullName: "Asta Rook", BirthDay: text("2008-03-01"), Guardian: "rolf", GuardianConsentTo: text("2026-12-31"),
		Telephone: text("+41 0"), Consumption: rate, WorstConsumption: rate,
		Cards:             []*lastlightv1.Card{{Id: "full", Level: "FULL", Number: text("123")}},
		Medical:           &lastlightv1.MedicalStatus{DoctorUntil: "2027-01-01", RestrictionCode: "R2"},
		EmergencyContacts: []*lastlightv1.EmergencyContact{{FullName: "Rolf Rook", Telephone: "+41 1"}},
		Unavailable:       []*lastlightv1.Unavailability{{FromDay: "2026-06-08", ToDay: "2026-06-08"}},
	}
}

// A leader sees the cards of the team, and of health nothing at all.
func TestLeaderNeverSeesWhy(t *testing.T) {
	leader := NewCaller("", Token{Person: "birk"}, []Grant{{Role: Leader}})
	p := whole()
	if !MaskPerson(leader, Subject{Relation: Leads}, p) || len(p.Cards) != 1 || p.Consumption == nil {
		t.Error("a leader must see the cards and consumption of the team")
	}
	if p.Medical != nil || p.EmergencyContacts != nil || p.Cards[0].Number != nil || p.BirthDay != nil || p.Guardian != "" {
		t.Errorf("a leader sees %v", p)
	}
}

func TestMaskPerson(t *testing.T) {
	self := NewCaller("", Token{Person: "asta"}, nil)
	p := whole()
	MaskPerson(self, Subject{}, p)
	if p.String() != whole().String() {
		t.Errorf("a diver does not see all of their own record: %v", p)
	}
	coordinator := NewCaller("", Token{Person: "cora"}, []Grant{{Role: Coordinator}})
	p = whole()
	MaskPerson(coordinator, Subject{}, p)
	if p.Medical == nil || p.Medical.RestrictionCode != "" || p.EmergencyContacts != nil || p.BirthDay == nil {
		t.Errorf("a coordinator sees %v", p)
	}
	guest := NewCaller("", Token{Person: "gast"}, []Grant{{Role: Guest}})
	if MaskPerson(guest, Subject{}, whole()) {
		t.Error("a guest sees another person")
	}
}

func TestMaskSite(t *testing.T) {
	code := "4711"
	site := func() *lastlightv1.Site {
		return &lastlightv1.Site{Id: "spring", ExactPosition: &lastlightv1.Position{Latitude: 1}, AccessNotes: &code, GateCode: &code, RestrictedOnRecord: true}
	}
	cover := NewCaller("", Token{Person: "cleo"}, []Grant{{Role: Cover}})
	s := site()
	MaskSite(cover, Subject{}, s)
	if s.ExactPosition != nil || s.GateCode != nil || s.AccessNotes != nil || !s.RestrictedOnRecord {
		t.Errorf("cover without a running watch sees %v", s)
	}
	s = site()
	MaskSite(cover, Subject{Relation: WatchRuns}, s)
	if s.ExactPosition == nil || s.GateCode == nil {
		t.Error("cover needs the place while the watch runs")
	}
}

func TestMaskIncident(t *testing.T) {
	incident := func() *lastlightv1.Incident {
		return &lastlightv1.Incident{
			Id: "i", Dive: "d", People: []string{"asta", "birk"}, Narrative: "diver 1 …", Lessons: "l", ReviewedNarrative: "reviewed",
			ReportedBy: "birk", Injured: []int32{1},
		}
	}
	member := NewCaller("", Token{Person: "cleo"}, []Grant{{Role: Diver}, {Role: Coordinator}, {Role: Committee}})
	i := incident()
	MaskIncident(member, Subject{}, i)
	if i.People[0] != "diver 1" || i.People[1] != "diver 2" || i.ReportedBy != "" || i.Narrative != "reviewed" || i.Dive != "" || i.Lessons != "" {
		t.Errorf("the club reads %v", i)
	}
	officer := NewCaller("", Token{Person: "olga"}, []Grant{{Role: SafetyOfficer}})
	i = incident()
	MaskIncident(officer, Subject{}, i)
	if i.String() != incident().String() {
		t.Errorf("the safety officer reads %v", i)
	}
}

func TestMaskWaiverAndWatch(t *testing.T) {
	w := &lastlightv1.Waiver{Rule: "site.threshold", WaivedBy: "cora", Reason: "why", Conditions: []string{"c"}}
	diver := NewCaller("", Token{Person: "asta"}, []Grant{{Role: Diver}})
	if len(MaskWaivers(diver, Subject{}, []*lastlightv1.Waiver{w})) != 0 {
		t.Error("a diver of another team reads that something was waived")
	}
	MaskWaivers(diver, Subject{Relation: InTeam}, []*lastlightv1.Waiver{w})
	if w.Rule == "" || w.WaivedBy == "" || w.Reason != "" || len(w.Conditions) == 0 {
		t.Errorf("the team reads of a waiver %v", w)
	}
	yes := true
	watch := func() *lastlightv1.Watch {
		return &lastlightv1.Watch{Divers: []*lastlightv1.WatchDiver{{Person: "birk", Symptoms: &yes}}, Contacts: []*lastlightv1.WatchContact{{Person: "birk"}}}
	}
	if MaskWatch(diver, Subject{}, watch()) {
		t.Error("a diver of another team sees who is away")
	}
	cover := NewCaller("", Token{Person: "cleo"}, nil)
	seen := watch()
	if !MaskWatch(cover, Subject{Relation: Covers}, seen) || seen.Contacts == nil || seen.Divers[0].Symptoms != nil {
		t.Errorf("cover reads %v", seen)
	}
	seen = watch()
	seen.AllSeenOut = true
	if !MaskWatch(cover, Subject{Relation: Covers | WatchRuns}, seen) || len(seen.Contacts) != 0 {
		t.Errorf("after the watch cover reads %v", seen)
	}
}

// A list is answered whole to whoever sees every group of a record that nothing ties them to: ties must never take anything away.
func TestNoTieCloses(t *testing.T) {
	for role := range Everybody.Each() {
		c := NewCaller("", Token{Person: "p"}, []Grant{{Role: role}})
		for g := Directory; g < groupsEnd; g++ {
			if !c.Sees(g, Subject{}) {
				continue
			}
			for r := Relation(0); r < relationEnd; r++ {
				if !c.Sees(g, Subject{Relation: r, Expeditions: []string{"spring"}}) {
					t.Fatalf("group %d, %s: hidden from who is tied by %b", g, role, r)
				}
			}
		}
	}
}

// A read is noted where sight is decided: once for each record and group, of others only, and never for being allowed to write.
func TestReadingsAreNoted(t *testing.T) {
	person := func(id string) *lastlightv1.Person {
		return &lastlightv1.Person{Id: id, Medical: &lastlightv1.MedicalStatus{RestrictionCode: "A"}, EmergencyContacts: []*lastlightv1.EmergencyContact{{}}}
	}
	c := NewCaller("", Token{Person: "cora"}, []Grant{{Role: Coordinator}, {Role: MedicalOfficer}})
	c.Writes(Medical, Subject{Of: "asta"})
	MaskPerson(c, Subject{}, &lastlightv1.Person{Id: "birk"}) // nothing there to be shown
	MaskPerson(c, Subject{}, person("cora"))                  // one's own
	if got := c.Readings(); len(got) != 0 {
		t.Errorf("noted %v", got)
	}
	MaskPerson(c, Subject{}, person("asta"))
	MaskPerson(c, Subject{}, person("asta"))
	MaskSite(c, Subject{}, &lastlightv1.Site{Id: "spring", GateCode: new("1")})
	want := []Reading{{Fields: "medical", Of: "asta"}, {Fields: "restriction", Of: "asta"}, {Fields: "place", Of: "spring", Place: true}}
	if got := c.Readings(); !slices.Equal(got, want) {
		t.Errorf("noted %v, want %v", got, want)
	}
	MaskPerson(c, Subject{Relation: WatchRuns}, person("asta"))
	if got := c.Readings(); len(got) != 4 || got[3].Fields != "contacts" {
		t.Errorf("while the watch runs noted %v", got)
	}
}
