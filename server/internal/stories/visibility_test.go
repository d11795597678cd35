package stories

import (
	"path"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/message"
)

// secret is a value that stands nowhere else, and the group of fields it is in.
type secret struct {
	field string // full name of the field, of those marked restricted
	value string
	group access.Group
}

// secrets has one for every field marked restricted, and for those that the
// table of who sees what names beside them.
var secrets = []secret{
	{"lastlight.v1.Person.medical", "2031-07-09", access.Medical},
	{"", "RC-7731", access.Restriction},
	{"lastlight.v1.Person.emergency_contacts", "Contact of nobody else", access.Contacts},
	{"lastlight.v1.Person.telephone", "+00 555 7773", access.Reach},
	{"lastlight.v1.Card.number", "CARD-7774", access.CardNumber},
	{"", "1981-03-07", access.Minor},
	{"", "19.375", access.Training}, // L/min
	{"lastlight.v1.Site.exact_position", "12.3456789", access.Place},
	{"lastlight.v1.Site.access_notes", "behind the seventh mill", access.Place},
	{"lastlight.v1.Site.gate_code", "GATE-7776", access.Place},
}

// published calls fn for every method of the club's interface.
func published(fn func(method string, request, response protoreflect.MessageDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage("lastlight.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			service := file.Services().Get(i)
			for j := range service.Methods().Len() {
				m := service.Methods().Get(j)
				fn("/"+string(service.FullName())+"/"+string(m.Name()), m.Input(), m.Output())
			}
		}
		return true
	})
}

// A field that is marked restricted has its secret here, so that the test below
// cannot overlook a new one.
func TestEveryRestrictedFieldIsWatched(t *testing.T) {
	protoregistry.GlobalFiles.RangeFilesByPackage("lastlight.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Messages().Len() {
			fields := file.Messages().Get(i).Fields()
			for j := range fields.Len() {
				f := fields.Get(j)
				if message.Restricted(f) && !slices.ContainsFunc(secrets, func(s secret) bool { return s.field == string(f.FullName()) }) {
					t.Errorf("%s is restricted and no secret is planted in it", f.FullName())
				}
			}
		}
		return true
	})
}

func newMessage(t *testing.T, d protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	if err != nil {
		t.Fatal(err)
	}
	return kind.New().Interface()
}

// asks fills a request with the ids of the records that hold the secrets.
func asks(m proto.Message, method string, now *timestamppb.Timestamp) {
	ids := map[string]string{"SiteService": "spring", "RosterService": "asta", "GearService": "asta-left", "PlanService": "secretplan", "DiveService": "past-asta-0", "PolicyService": "shipped-default"}
	words := map[string]string{"person": "asta", "site": "spring", "plan": "secretplan", "dive": "past-asta-0", "cylinder": "asta-left", "item": "asta-left", "card": "level", "reason": "because", "request_id": id()}
	for service, key := range ids {
		if strings.Contains(method, service) {
			words["id"] = key
		}
	}
	words["from_day"], words["to_day"] = "2026-06-08", "2026-06-08"
	r := m.ProtoReflect()
	fields := r.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.IsList():
		case f.Kind() == protoreflect.StringKind && words[string(f.Name())] != "":
			r.Set(f, protoreflect.ValueOfString(words[string(f.Name())]))
		case f.Message() != nil && f.Message().FullName() == "google.protobuf.Timestamp" && f.Name() != "from" && f.Name() != "to":
			r.Set(f, protoreflect.ValueOfMessage(now.ProtoReflect()))
		}
	}
}

func reads(method string) bool {
	name := method[strings.LastIndex(method, "/")+1:]
	return slices.ContainsFunc([]string{"Get", "List", "Check", "Export", "WhoAmI", "Evaluate", "Compare"}, func(prefix string) bool { return strings.HasPrefix(name, prefix) })
}

// Every method × every role, on the real server: whom the table does not let in
// gets no answer, and no answer, list, export or error has a secret that the
// table of who sees what does not give to that role.
func TestEveryMethodForEveryRole(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	site := levelSite("spring", zoneName, 10, stations, legs)
	place := site[0].GetSite()
	place.ExactPosition = &pb.Position{Latitude: 12.3456789, Longitude: 23.4}
	place.AccessNotes, place.GateCode = proto.String("behind the seventh mill"), proto.String("GATE-7776")
	c.apply(site...)
	team := []diver{{id: "asta", born: "1981-03-07", rate: 19.375}, {id: "birk"}}
	c.enrol("spring", team...)
	asta, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	asta.Telephone = proto.String("+00 555 7773")
	asta.Cards[0].Number = proto.String("CARD-7774")
	asta.Medical.DoctorUntil, asta.Medical.RestrictionCode = "2031-07-09", "RC-7731"
	if _, err = c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: asta, ExpectedVersion: asta.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	own, err := c.people().GetPerson(c.as("asta"), &pb.GetPersonRequest{Id: "asta"})
	if err != nil {
		t.Fatal(err)
	}
	own.EmergencyContacts = []*pb.EmergencyContact{{FullName: "Contact of nobody else", Telephone: "+00 555 7775"}}
	if _, err = c.people().UpdatePerson(c.as("asta"), &pb.UpdatePersonRequest{Person: own, ExpectedVersion: own.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	c.submit(planOf("secretplan", "spring", c.at("2026-06-08 08:30"), route, team, []float64{200, 200}))

	c.apply(record(&pb.Person{Id: "ward", FullName: "Ward of the guardian"}))

	answered, seen := map[string]int{}, map[string]int{}
	for role := range access.Everybody.Each() {
		who := "r-" + strings.ReplaceAll(role.String(), "_", "-")
		grant := &pb.RoleGrant{Person: who, Role: role.String()}
		if role == access.Guardian {
			grant.OfPerson = "ward"
		}
		c.apply(record(&pb.Person{Id: who, FullName: "Holder of " + role.String(), Guest: role == access.Guest}), record(grant))
		caller := access.NewCaller("", access.Token{Person: who}, []access.Grant{{Role: role}})
		published(func(method string, in, out protoreflect.MessageDescriptor) {
			listed, _ := access.Lookup(method)
			may := (listed.Anywhere | listed.Here).Any(role)
			if may && !reads(method) {
				return // a write that is let in is another test's
			}
			request, response := newMessage(t, in), newMessage(t, out)
			asks(request, method, stamp(c.clock.Now()))
			err := c.conn.Invoke(c.as(who), method, request, response)
			text := ""
			if err == nil {
				b, _ := protojson.Marshal(response)
				text = string(b)
				answered[role.String()]++
			} else {
				b, _ := protojson.Marshal(status.Convert(err).Proto())
				text = string(b)
			}
			switch code := status.Code(err); {
			case code == codes.Internal || code == codes.Unknown || code == codes.Unauthenticated:
				t.Errorf("%s as %s: %v", method, role, err)
			case code == codes.OK && !may && listed.Tied == 0:
				t.Errorf("%s answers %s, whom the table does not let in", method, role)
			case code == codes.OK && !may && slices.ContainsFunc([]string{"asta", "spring", "secretplan"}, func(key string) bool { return strings.Contains(text, `"`+key) }):
				t.Errorf("%s answers %s, who has nothing to do with the record: %.200s", method, role, text)
			}
			for _, s := range secrets {
				if !strings.Contains(text, s.value) {
					continue
				}
				seen[s.value]++
				if !caller.Sees(s.group, access.Subject{}) {
					t.Errorf("%s shows %s to %s: %.300s", method, s.value, role, text)
				}
				c.mustBeNoted(who, method, s)
			}
		})
	}
	if answered["coordinator"] < 25 {
		t.Errorf("a coordinator was answered %d times: the requests ask too little", answered["coordinator"])
	}
	for _, s := range secrets {
		if s.group != access.Contacts && seen[s.value] == 0 { // contacts are seen while a watch runs only
			t.Errorf("nobody was shown %s: the test looks at nothing", s.value)
		}
	}
}

// The currency of a person is for them, a coordinator and the leader of their own team.
func TestCurrencyThroughTheInterface(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, _ := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	c.enrol("spring", diver{id: "asta"}, diver{id: "birk"})
	for as, want := range map[string]codes.Code{"asta": codes.OK, "cora": codes.OK, "birk": codes.NotFound, "cover": codes.NotFound} {
		if _, err := c.people().GetCurrency(c.as(as), &pb.GetCurrencyRequest{Person: "asta"}); status.Code(err) != want && !(want == codes.NotFound && status.Code(err) == codes.PermissionDenied) {
			t.Errorf("as %s: %v, want %s", as, err, want)
		}
	}
	// 8 dives, the last on 28 May: 91 days later is 27 August.
	for day, counts := range map[string]string{"2026-08-26": "FULL", "2026-08-27": "APP"} {
		x, err := c.people().GetCurrency(c.as("asta"), &pb.GetCurrencyRequest{Day: day})
		if err != nil {
			t.Fatal(err)
		}
		level := x.Figures[0]
		if x.CountsAs != counts || level.Count != 8 || len(level.Dives) != 8 || level.Asked != 6 {
			t.Errorf("on %s counts as %s with %v", day, x.CountsAs, level)
		}
		if day == "2026-08-26" && (level.ChangesOn != "2026-08-27" || level.ChangesTo != "one step easier") {
			t.Errorf("changes on %s to %s", level.ChangesOn, level.ChangesTo)
		}
	}
}

// noted are the groups of which every read is written down.
var noted = map[access.Group]string{access.Medical: "medical", access.Restriction: "restriction", access.Contacts: "contacts", access.Place: "place"}

// mustBeNoted fails where an answer showed a secret and nobody can read that it did.
func (c *club) mustBeNoted(who, method string, s secret) {
	c.t.Helper()
	if noted[s.group] == "" {
		return
	}
	r := &pb.ListReadsRequest{Person: "asta"}
	if s.group == access.Place {
		r = &pb.ListReadsRequest{Site: "spring"}
	}
	out, err := pb.NewPrivacyServiceClient(c.conn).ListReads(c.as("keeper"), r)
	if err != nil {
		c.t.Fatal(err)
	}
	if !slices.ContainsFunc(out.Reads, func(x *pb.DataRead) bool {
		return x.Who == who && x.Asked == path.Base(method) && x.Fields == noted[s.group]
	}) {
		c.t.Errorf("%s shows %s to %s, and it is not written down", method, s.value, who)
	}
}
