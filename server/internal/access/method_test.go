package access

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	lastlightv1 "lastlight/proto/lastlight/v1"
)

// published lists every method of the published interface.
func published() []string {
	var all []string
	pkg := lastlightv1.File_lastlight_v1_access_proto.Package()
	protoregistry.GlobalFiles.RangeFilesByPackage(pkg, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				all = append(all, "/"+string(service.FullName())+"/"+string(service.Methods().Get(j).Name()))
			}
		}
		return true
	})
	return all
}

func TestTableIsThePublishedInterface(t *testing.T) {
	var ours []string
	for _, m := range Methods() {
		if strings.HasPrefix(m.Name, "/lastlight.") {
			ours = append(ours, m.Name)
			if m.Open {
				t.Errorf("%s is open to all", m.Name)
			}
			if m.Anywhere|m.Here == 0 && m.Tied == 0 {
				t.Errorf("%s: nobody may call it", m.Name)
			}
		}
	}
	want := published()
	slices.Sort(ours)
	slices.Sort(want)
	if compact := slices.Compact(slices.Clone(ours)); len(compact) != len(ours) {
		t.Error("a method stands twice in the table")
	}
	for _, m := range want {
		if !slices.Contains(ours, m) {
			t.Errorf("not in the table: %s", m)
		}
	}
	for _, m := range ours {
		if !slices.Contains(want, m) {
			t.Errorf("in the table and not published: %s", m)
		}
	}
}

func TestUnlistedMethodIsNamed(t *testing.T) {
	if err := CheckServed([]string{planService + "GetPlan"}); err != nil {
		t.Error(err)
	}
	err := CheckServed([]string{planService + "GetPlan", planService + "DeletePlan", "/other.Service/Call"})
	if err == nil || !strings.Contains(err.Error(), "DeletePlan") || !strings.Contains(err.Error(), "/other.Service/Call") {
		t.Errorf("want both unlisted methods named, got %v", err)
	}
}

// TestWhoMayCall says again, in words, what must hold of the table whatever else is in it. It is read from the tasks of each role:
// nobody but those named may do these things.
func TestWhoMayCall(t *testing.T) {
	only := map[string]string{ // method → the roles that may, without any relation to the record
		planService + "ApprovePlan":        "coordinator",
		planService + "RefusePlan":         "coordinator",
		planService + "StopAllDives":       "coordinator, safety_officer, committee",
		policyService + "AdoptPolicy":      "committee",
		accessService + "GrantRole":        "coordinator, committee",
		accessService + "RevokeRole":       "coordinator, committee",
		accessService + "IssueToken":       "coordinator, committee",
		diveService + "SeenOut":            "coordinator, cover",
		diveService + "GetBoard":           "coordinator, cover",
		incidentService + "ReviewIncident": "safety_officer",
		rosterService + "SetMedicalStatus": "coordinator, medical_officer",
		rosterService + "CheckGoodToGo":    "coordinator",
		rosterService + "GetCurrency":      "coordinator",
		rosterService + "GetConsumption":   "coordinator",
		gearService + "Release":            "coordinator, blender, committee",
		gasService + "GetFillPlan":         "coordinator, blender",
	}
	for name, roles := range only {
		m, ok := Lookup(name)
		if !ok {
			t.Errorf("%s is not listed", name)
		} else if got := (m.Anywhere | m.Here).String(); got != roles {
			t.Errorf("%s: %s, want %s", name, got, roles)
		}
	}
}

func TestGuestAndGuardianComeInByRelationOnly(t *testing.T) {
	open := []string{
		gasService + "CheckMix", gasService + "GetBestMix", gasService + "CheckGasSwitch", gasService + "GetContents", gasService + "GetSettledPressure",
		gasService + "GetBlendSheet", gasService + "GetCascade",
	}
	open = append(open, accessService+"WhoAmI", accessService+"RenewToken", incidentService+"ReportIncident")
	for _, role := range []Roles{Guest, Guardian} {
		c := NewCaller("", Token{Person: "gast"}, []Grant{{Role: role}})
		for _, m := range Methods() {
			if got := m.On(c, Subject{}); got != (m.Open || slices.Contains(open, m.Name)) {
				t.Errorf("%s may call %s on a record of others: %v", role, m.Name, got)
			}
		}
		if !May(c, planService+"GetBrief", Subject{Relation: InTeam}) {
			t.Errorf("%s in the team does not get the brief", role)
		}
		if !May(c, rosterService+"GetPerson", Subject{Relation: Self}) {
			t.Errorf("%s does not get their own record", role)
		}
	}
}

// TestEveryMethodByEveryRole holds the predicate against the three ways in, one at a time, for every line and role.
func TestEveryMethodByEveryRole(t *testing.T) {
	for _, m := range Methods() {
		if nobody := (&Caller{}); m.On(nobody, Subject{Relation: relationEnd - 1}) != m.Open || m.ForRoles(nobody) != m.Open {
			t.Errorf("%s: nobody in particular may call it", m.Name)
		}
		for role := range Everybody.Each() {
			club := NewCaller("", Token{Person: "p"}, []Grant{{Role: role}})
			there := NewCaller("", Token{Person: "p"}, []Grant{{Role: role, Expedition: "spring"}})
			inSpring, inAutumn := Subject{Expeditions: []string{"spring"}}, Subject{Expeditions: []string{"autumn"}}
			for _, c := range []struct {
				what string
				got  bool
				want bool
			}{
				{"for the club", m.On(club, inAutumn), m.Open || m.Anywhere.Any(role) || m.Here.Any(role)},
				{"for the record's expedition", m.On(there, inSpring), m.Open || m.Anywhere.Any(role) || m.Here.Any(role)},
				{"for another expedition", m.On(there, inAutumn), m.Open || m.Anywhere.Any(role)},
				{"for an expedition, on a record of none", m.On(there, Subject{}), m.Open || m.Anywhere.Any(role)},
				{"at all", m.ForRoles(there), m.Open || m.Tied != 0 || m.Anywhere.Any(role) || m.Here.Any(role)},
			} {
				if c.got != c.want {
					t.Errorf("%s, %s %s: %v, want %v", m.Name, role, c.what, c.got, c.want)
				}
			}
			for relation := Self; relation < relationEnd; relation <<= 1 {
				if relation == Leads {
					continue // counts with the role of leader: see the next test
				}
				want := m.Open || m.Anywhere.Any(role) || m.Tied&relation != 0
				if got := m.On(there, Subject{Relation: relation}); got != want {
					t.Errorf("%s, %s with relation %b: %v, want %v", m.Name, role, relation, got, want)
				}
			}
		}
	}
}

func TestLeadingCountsWithTheRoleOfLeader(t *testing.T) {
	s := Subject{Expeditions: []string{"spring"}, Relation: Leads}
	diver := NewCaller("", Token{Person: "p"}, []Grant{{Role: Diver}})
	leader := NewCaller("", Token{Person: "p"}, []Grant{{Role: Leader, Expedition: "spring"}})
	elsewhere := NewCaller("", Token{Person: "p"}, []Grant{{Role: Leader, Expedition: "autumn"}})
	if May(diver, planService+"SubmitPlan", s) || May(elsewhere, planService+"SubmitPlan", s) || !May(leader, planService+"SubmitPlan", s) {
		t.Error("a plan is submitted by a leader of its expedition who leads it")
	}
}
