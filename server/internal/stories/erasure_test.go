package stories

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/app"
	"lastlight/server/internal/store"
)

// marked is a person about whom every kind of record says something that stands nowhere else.
const (
	markedName  = "Zofia Marrow-Lünde"
	markedPhone = "+00 555 9901"
	markedBirth = "1983-11-29"
)

// marks are what must be nowhere after an erasure; each was somewhere before.
var marks = []string{markedName, "Zofia", "Marrow", "Lünde", markedPhone, markedBirth, "Friend of nobody else", "CARD-9902", "RC-9903", "zofia@example.org", "Phone of Z", "93.0625", "19.8125"}

// everyKind is the club with the marked person in every kind of record, the last dive closed.
func everyKind(t *testing.T) *pool {
	t.Helper()
	c := newClub(t, "2026-06-08 07:30")
	c.adoptPolicy(nil)
	stations, legs, route := straight(200, 0)
	c.apply(levelSite("spring", zoneName, 10, stations, legs)...)
	p := &pool{club: c, team: []diver{{id: "zofia", born: markedBirth, rate: 19.8125}, {id: "birk"}}, route: route}
	c.enrol("spring", p.team...)
	must := func(what string, err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v %v", what, err, status.Convert(err).Details())
		}
	}
	z, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: "zofia"})
	must("read", err)
	z.FullName, z.ShortName, z.Telephone, z.Cards[0].Number, z.Medical.RestrictionCode = markedName, "Zofia", proto.String(markedPhone), proto.String("CARD-9902"), "RC-9903"
	_, err = c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: z, ExpectedVersion: z.Version, RequestId: id()})
	must("name", err)
	own, err := c.people().GetPerson(c.as("zofia"), &pb.GetPersonRequest{Id: "zofia"})
	must("own", err)
	own.EmergencyContacts = []*pb.EmergencyContact{{FullName: "Friend of nobody else", Telephone: "+00 555 9904"}}
	_, err = c.people().UpdatePerson(c.as("zofia"), &pb.UpdatePersonRequest{Person: own, ExpectedVersion: own.Version, RequestId: id()})
	must("contacts", err)
	_, err = pb.NewAccessServiceClient(c.conn).IssueToken(c.as("zofia"), &pb.IssueTokenRequest{Person: "zofia", Device: "Phone of Z", RequestId: id()})
	must("device", err)
	_, err = pb.NewDueServiceClient(c.conn).SetDigest(c.as("zofia"), &pb.SetDigestRequest{Address: "zofia@example.org", Every: "day", RequestId: id()})
	must("digest", err)
	c.apply(
		record(&pb.Person{Id: "second", FullName: "Second of the committee"}), record(&pb.RoleGrant{Person: "second", Role: "committee"}),
		record(&pb.Person{Id: "sofie", FullName: "Sofie Sea"}), record(&pb.RoleGrant{Person: "sofie", Role: "safety_officer"}),
		record(&pb.Expedition{Id: "ahead", Title: "Ahead", FromDay: "2026-06-07", ToDay: "2026-06-20", Sites: []string{"spring"}, Participants: []*pb.Participant{{Person: "zofia"}, {Person: "birk"}}}),
		record(&pb.Expedition{Id: "over", Title: "Over", FromDay: "2026-05-01", ToDay: "2026-05-08", Sites: []string{"spring"}, Participants: []*pb.Participant{{Person: "zofia"}}}),
		record(&pb.Equipment{Id: "lent-reel", Kind: "reel", Owner: "birk", LineM: proto.Float64(30), Notes: "on loan from zofia  marrow-lünde, +00 555 9901"}),
	)
	_, err = c.gear().RecordCustody(c.as("birk"), &pb.RecordCustodyRequest{RequestId: id(), Items: []string{"lent-reel"}, Event: &pb.CustodyEvent{Kind: "handed_over", At: stamp(c.clock.Now().Add(-time.Hour)), Holder: "zofia", Notes: "by hand\nZofia\u00a0wanted it"}})
	must("custody", err)
	_, err = c.sites().RecordReading(c.as("zofia"), &pb.RecordReadingRequest{RequestId: id(), Reading: &pb.Reading{
		Site: "spring", ReadAt: stamp(c.clock.Now().Add(-30 * time.Minute)), LevelM: proto.Float64(0.5), Flow: "none", VisibilityM: proto.Float64(15), Notes: "with " + markedName,
	}})
	must("reading", err)
	// Free texts of others' records, one in small letters, one in a field that is named like those with keys.
	if r := c.send("keeper", false,
		record(&pb.Permit{Id: "granted", Site: "spring", FromDay: "2026-01-01", ToDay: "2026-12-31", GrantedBy: "the owner, through " + markedName}),
		record(&pb.CylinderSet{Id: "pair", Kind: "single", Cylinders: []string{"birk-left"}, Owner: "zofia", Notes: "ask Zofia, zofia@example.org"}),
	); len(r.Problems) > 0 {
		t.Fatal(r.Problems)
	}
	_, err = c.gear().RecordService(c.as("keeper"), &pb.RecordServiceRequest{Item: "lent-reel", RequestId: id(), Event: &pb.ServiceEvent{Kind: "service", Date: "2026-05-05", DoneBy: "zofia marrow-lünde"}})
	must("service", err)
	plan := p.plan("loop", "2026-06-08 07:40")
	plan.Goal = "let Zofia see the fork, _zofia_ is told"
	p.mustApprove(plan)
	other := p.plan("other", "2026-06-10 09:00")
	p.mustApprove(other)
	_, err = c.plans().WithdrawPlan(c.as("cora"), &pb.WithdrawPlanRequest{Id: "other", Reason: "away:\tZofia", RequestId: id()})
	must("withdraw", err)
	c.clock.set(c.at("2026-06-08 07:41"))
	c.mustGo(plan, 1, 200, 200)
	c.clock.set(c.at("2026-06-08 08:20"))
	for _, who := range []string{"zofia", "birk"} {
		c.seenOut("loop", who)
	}
	no := false
	_, err = c.dives().SignOut(c.as("zofia"), &pb.SignOutRequest{Dive: "loop", EndPressure: bar(93.0625), Symptoms: &no, RequestId: id()})
	must("sign out", err)
	c.signOut("loop", "birk", false)
	_, err = c.dives().CloseDive(c.as("cora"), &pb.CloseDiveRequest{RequestId: id(), Dive: &pb.Dive{
		Id: "loop", MaxDepthM: proto.Float64(10), PenetrationM: proto.Float64(150), Zone: "cave", Notes: "Zofia led",
		Left: []*pb.LeftBehind{{Kind: "marker", Place: stations[1].Id, Item: "ZM", Owner: "zofia"}},
	}})
	must("close", err)
	in, err := c.incidents().ReportIncident(c.as("birk"), &pb.ReportIncidentRequest{RequestId: id(), Incident: &pb.Incident{
		Site: "spring", HappenedAt: stamp(c.clock.Now().Add(-24 * time.Hour)), Level: proto.Int32(1), Types: []string{"line"}, People: []string{"zofia", "birk"}, Narrative: "The line was slack at the fork.",
	}})
	must("incident", err)
	_, err = c.incidents().ReviewIncident(c.as("sofie"), &pb.ReviewIncidentRequest{Id: in.Id, ReviewedNarrative: "Slack line.", RequestId: id()})
	must("review", err)
	// The committee and the medical officer looked.
	_, err = c.people().ListPeople(c.as("keeper"), &pb.ListPeopleRequest{})
	must("list", err)
	return p
}

// words gives everything in the database as text, table by table; what is not text as the bytes that it is.
func (c *club) words() map[string]string {
	c.t.Helper()
	rows, err := c.pool.Query(c.t.Context(), `
SELECT c.relname, string_agg(CASE WHEN y.typname = 'bytea' THEN '''<x'' || encode(t.' || quote_ident(a.attname) || ', ''hex'') || ''>''' ELSE 't.' || quote_ident(a.attname) || '::text' END, ', ')
FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped JOIN pg_type y ON y.oid = a.atttypid
WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind IN ('r', 'm', 'p') GROUP BY 1`)
	if err != nil {
		c.t.Fatal(err)
	}
	columns := map[string]string{}
	for rows.Next() {
		var table, list string
		if err := rows.Scan(&table, &list); err != nil {
			c.t.Fatal(err)
		}
		columns[table] = list
	}
	if rows.Err() != nil {
		c.t.Fatal(rows.Err())
	}
	out := map[string]string{}
	for table, list := range columns {
		var text string
		if err := c.pool.QueryRow(c.t.Context(), `SELECT COALESCE(string_agg(concat_ws(' | ', `+list+`), E'\n'), '') FROM "`+table+`" t`).Scan(&text); err != nil {
			c.t.Fatalf("%s: %v", table, err)
		}
		out[table] = hexed.ReplaceAllStringFunc(text, func(s string) string {
			b, err := hex.DecodeString(strings.Trim(s, "<x>"))
			if err != nil {
				c.t.Fatal(err)
			}
			return string(b)
		})
	}
	return out
}

var hexed = regexp.MustCompile(`<x[0-9a-f]*>`)

// withoutKeys takes out the keys of records that begin with the person's: the club chose them, and what names them stays.
func withoutKeys(text string) string {
	for _, key := range []string{"-left", "-right", "-mains", "-primary", "-backup", "-spool", "-reel"} {
		text = strings.ReplaceAll(text, "zofia"+key, "")
	}
	return strings.NewReplacer("past-zofia-", "", "Maker of zofia", "", "maker of zofia", "").Replace(text)
}

// goneFromAll looks for marks in every column of every table. What was evaluated keeps the values that it used, and the preview
// says so: a date of birth, a consumption.
func (c *club) goneFromAll(marks ...string) {
	c.t.Helper()
	used := map[string]bool{markedBirth: true, "19.8125": true}
	for table, text := range c.words() {
		text = withoutKeys(text)
		for _, mark := range marks {
			if table == "evaluation" && used[mark] {
				continue
			}
			if i := strings.Index(strings.ToLower(text), strings.ToLower(mark)); i >= 0 {
				c.t.Errorf("%s still says %q: …%q…", table, mark, text[max(0, i-150):min(len(text), i+80)])
			}
		}
	}
}

func (c *club) checkErasure(as, person string) *pb.ErasurePreview {
	c.t.Helper()
	out, err := c.privacy().CheckErasure(c.as(as), &pb.CheckErasureRequest{Person: person})
	if err != nil {
		c.t.Fatalf("preview as %s: %v", as, err)
	}
	return out
}

func (c *club) confirmErasure(as, person, hash string) (*pb.Erasure, error) {
	return c.privacy().ConfirmErasure(c.as(as), &pb.ConfirmErasureRequest{Person: person, Hash: hash, RequestId: id()})
}

func codesOf(p *pb.ErasurePreview) (out []string) {
	for _, h := range p.Hindrances {
		out = append(out, h.Code)
	}
	return out
}

func lineOf(list []*pb.ErasureLine, kind string) *pb.ErasureLine {
	for _, l := range list {
		if l.Kind == kind {
			return l
		}
	}
	return nil
}

// An erasure: asked for by the person, read and confirmed by a second member of the committee, frozen by an open incident; then
// no column of any table says the name or the key, the dives still count, and the decision replays to the same bytes.
func TestErasure(t *testing.T) {
	c := everyKind(t)
	before := c.words()
	for _, mark := range append([]string{"zofia"}, marks...) {
		if !slices.ContainsFunc([]string{"person", "card", "medical_status", "emergency_contact", "token", "digest", "dive", "dive_diver", "watch_fact", "event", "request"}, func(table string) bool { return strings.Contains(before[table], mark) }) {
			t.Errorf("%q stands nowhere before the erasure: the test looks at nothing", mark)
		}
	}
	evidence := c.evidenceOf("loop")
	history, err := c.sites().GetSiteHistory(c.as("birk"), &pb.GetSiteHistoryRequest{Site: "spring"})
	if err != nil {
		t.Fatal(err)
	}
	answer, err := pb.NewRecordServiceClient(c.conn).ExportRecords(c.as("keeper"), &pb.ExportRecordsRequest{Kinds: []string{"person", "dive"}})
	if err != nil {
		t.Fatal(err)
	}
	file := answer.Records

	// Nobody asks for another; the committee does on a letter alone; nothing is carried out before it was asked for.
	ask := func(as string, r *pb.RequestErasureRequest) error {
		r.RequestId = id()
		_, err := c.privacy().RequestErasure(c.as(as), r)
		return err
	}
	if err := ask("birk", &pb.RequestErasureRequest{Person: "zofia"}); status.Code(err) != codes.NotFound {
		t.Errorf("birk asks for zofia: %v", err)
	}
	if _, err := c.privacy().CheckErasure(c.as("birk"), &pb.CheckErasureRequest{Person: "zofia"}); status.Code(err) != codes.NotFound {
		t.Errorf("birk reads what would go of zofia: %v", err)
	}
	if err := ask("keeper", &pb.RequestErasureRequest{Person: "zofia"}); !slices.Contains(fieldsOf(err), "written_day") {
		t.Errorf("the committee without a letter: %v", err)
	}
	if err := ask("keeper", &pb.RequestErasureRequest{Person: "zofia", WrittenDay: "2026-06-09"}); !slices.Contains(fieldsOf(err), "written_day") {
		t.Errorf("a letter of tomorrow: %v", err)
	}
	if _, err := c.confirmErasure("second", "zofia", "x"); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("confirmed though nobody asked: %v", err)
	}

	// The incident is open: asked for it may be, and the person is told nothing of whose it is.
	if err := ask("zofia", &pb.RequestErasureRequest{}); err != nil {
		t.Fatal(err)
	}
	shown := c.checkErasure("zofia", "")
	if got := codesOf(shown); !slices.Equal(got, []string{"frozen"}) {
		t.Errorf("hindered by %v", got)
	}
	if text, _ := protojson.Marshal(shown); strings.Contains(strings.ToLower(string(text)), "an incident") || strings.Contains(string(text), "RC-9903") || strings.Contains(string(text), markedPhone) {
		t.Errorf("the preview says too much: %s", text)
	}
	if _, err := c.confirmErasure("second", "zofia", shown.Hash); status.Code(err) != codes.FailedPrecondition || !strings.Contains(err.Error(), "frozen") {
		t.Errorf("carried out while frozen: %v", err)
	}
	list, err := c.incidents().ListIncidents(c.as("sofie"), &pb.ListIncidentsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.incidents().CloseIncident(c.as("sofie"), &pb.CloseIncidentRequest{Id: list.Incidents[0].Id, RequestId: id()}); err != nil {
		t.Fatal(err)
	}

	// A dive that is planned is another hindrance, and both are said at once.
	c.mustApprove(c.plan("next", "2026-06-09 09:00"))
	if got := codesOf(c.checkErasure("second", "zofia")); !slices.Equal(got, []string{"planned"}) {
		t.Errorf("hindered by %v", got)
	}
	c.withdraw("next")

	// Looking changes nothing but when a device was used last.
	was := c.words()
	shown = c.checkErasure("second", "zofia")
	is := c.words()
	for table, text := range was {
		if table != "token" && is[table] != text {
			t.Errorf("the preview changed %s", table)
		}
	}
	if l := lineOf(shown.Stays, "dive"); l.GetRecords() != 9 || l.GetUntil() != "2036-06-08" || l.GetCitation().GetSection() == "" {
		t.Errorf("of dives: %v", l)
	}
	if l := lineOf(shown.Goes, "health"); l == nil || !l.Untold || l.Records != 0 {
		t.Errorf("of health: %v", l)
	}
	if got := c.readsOf("zofia"); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "CheckErasure") }) {
		t.Errorf("the preview shows nothing and is a read: %v", got)
	}

	// Neither the person nor whoever asked confirms; another preview is not what was read.
	if _, err := c.confirmErasure("second", "zofia", "0"+shown.Hash); status.Code(err) != codes.Aborted {
		t.Errorf("another preview was read: %v", err)
	}
	if _, err := c.confirmErasure("zofia", "zofia", shown.Hash); status.Code(err) != codes.PermissionDenied {
		t.Errorf("the person confirms: %v", err)
	}
	// What was read is of before a change of which the preview does not even tell whether there is any.
	z, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: "zofia"})
	if err != nil {
		t.Fatal(err)
	}
	z.Medical.DeclaredDay = "2026-06-08"
	if _, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: z, ExpectedVersion: z.Version, RequestId: id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.confirmErasure("second", "zofia", shown.Hash); status.Code(err) != codes.Aborted {
		t.Errorf("the preview was read before the last change: %v", err)
	}
	shown = c.checkErasure("second", "zofia")
	var written [][]byte // of the calls that wrote the person's record: what is restricted can be tried out on them
	if err := c.pool.QueryRow(t.Context(), `SELECT array_agg(body_hash) FROM request WHERE id IN (SELECT request_id FROM event WHERE kind = 'person' AND record = 'zofia')`).Scan(&written); err != nil || len(written) < 3 {
		t.Fatalf("%d hashes: %v", len(written), err)
	}
	request := &pb.ConfirmErasureRequest{Person: "zofia", Hash: shown.Hash, RequestId: id()}
	done, err := c.privacy().ConfirmErasure(c.as("second"), request)
	if err != nil {
		t.Fatal(err)
	}
	key := strings.ToLower(done.Pseudonym)
	if done.State != "carried_out" || done.Person != key || done.ConfirmedBy != "second" || done.RequestedBy != key || len(done.Outcome.GetGoes()) == 0 {
		t.Errorf("%v", done)
	}
	if again, err := c.privacy().ConfirmErasure(c.as("second"), request); err != nil || !proto.Equal(again, done) {
		t.Errorf("the same call again: %v, %v", again, err)
	}

	c.goneFromAll(append([]string{"zofia"}, marks...)...)
	var left int
	if err := c.pool.QueryRow(t.Context(), `SELECT count(*) FROM request WHERE body_hash = ANY ($1)`, written).Scan(&left); err != nil || left != 0 {
		t.Errorf("%d hashes of calls about the person are left (%v)", left, err)
	}

	// Wherever the pseudonym stands now, the preview has said that it would, and why.
	told := map[string][]string{
		"dive": {"dive"}, "dive_diver": {"dive"}, "dive_former": {"dive"}, "watch": {"watch"}, "watch_fact": {"watch"}, "plan": {"plan"}, "plan_person": {"plan"}, "plan_version": {"plan"},
		"evaluation": {"plan"}, "booking": {"plan"}, "decision": {"plan"}, "waiver": {"plan"}, "incident": {"incident"}, "incident_person": {"incident"}, "incident_former": {"incident"},
		"reading": {"fact"}, "fill": {"fact"}, "analysis": {"fact"}, "service_event": {"fact"}, "survey": {"fact"}, "line_damage": {"fact"}, "custody_event": {"fact", "held"}, "item": {"gear"},
		"cylinder": {"gear"}, "equipment": {"gear"}, "cylinder_set": {"gear"}, "left_item": {"left"}, "data_read": {"read"}, "event": {"log"}, "request": {"log"}, "policy": {"policy"},
		"expedition": {"expedition"}, "expedition_participant": {"expedition"}, "permit": {"text"}, "person": {"person"}, "erasure": {"person"},
	}
	for table, text := range c.words() {
		if !strings.Contains(strings.ToLower(text), key) {
			continue
		}
		if !slices.ContainsFunc(told[table], func(kind string) bool { return lineOf(shown.Stays, kind) != nil || lineOf(shown.Goes, kind) != nil }) {
			t.Errorf("%s holds the pseudonym, of which the preview said nothing", table)
		}
	}

	// Nobody signs in; lists show the pseudonym; the dives count; the team's plan and dive are readable.
	if _, err := c.people().GetPerson(c.as("zofia"), &pb.GetPersonRequest{Id: key}); status.Code(err) != codes.Unauthenticated {
		t.Errorf("signed in after the erasure: %v", err)
	}
	if p, err := c.people().GetPerson(c.as("cora"), &pb.GetPersonRequest{Id: key}); err != nil || p.FullName != done.Pseudonym || !p.Archived || p.Medical != nil || len(p.Cards) != 0 || p.BirthDay != nil || p.Consumption != nil {
		t.Errorf("what is left: %v, %v", p, err)
	}
	d, err := c.dives().GetDive(c.as("birk"), &pb.GetDiveRequest{Id: "loop"})
	if err != nil || d.Divers[0].Person != key || d.Divers[0].EndPressure != nil || d.Divers[0].Symptoms != nil || d.Divers[1].EndPressure == nil || d.Notes != done.Pseudonym+" led" {
		t.Errorf("the dive: %v, %v", d, err)
	}
	dives, err := c.dives().ListDives(c.as("birk"), &pb.ListDivesRequest{Site: "spring", Lines: true})
	if err != nil || len(dives.Dives) != 9 || dives.Dives[0].Divers[0].Person != key {
		t.Errorf("the list of dives: %v, %v", dives, err)
	}
	after, err := c.sites().GetSiteHistory(c.as("birk"), &pb.GetSiteHistoryRequest{Site: "spring"})
	if err != nil || after.Dives != history.Dives || after.PeopleDives != history.PeopleDives || history.PeopleDives == 0 {
		t.Errorf("people-dives: %v before, %v after (%v)", history.PeopleDives, after.GetPeopleDives(), err)
	}
	if m, err := c.plans().GetPlan(c.as("birk"), &pb.GetPlanRequest{Id: "loop"}); err != nil || m.Leader != key || m.Team[0].Person != key || m.Goal != strings.NewReplacer("Zofia", done.Pseudonym, "zofia", done.Pseudonym).Replace("let Zofia see the fork, _zofia_ is told") {
		t.Errorf("the plan: %v, %v", m, err)
	}
	if x, err := pb.NewExpeditionServiceClient(c.conn).GetExpedition(c.as("cora"), &pb.GetExpeditionRequest{Id: "ahead"}); err != nil || len(x.Participants) != 1 {
		t.Errorf("the expedition ahead: %v, %v", x, err)
	}
	if x, err := pb.NewExpeditionServiceClient(c.conn).GetExpedition(c.as("cora"), &pb.GetExpeditionRequest{Id: "over"}); err != nil || len(x.Participants) != 1 || x.Participants[0].Person != key {
		t.Errorf("the expedition that is over: %v, %v", x, err)
	}
	if i, err := c.incidents().GetIncident(c.as("sofie"), &pb.GetIncidentRequest{Id: list.Incidents[0].Id}); err != nil || i.People[0] != key {
		t.Errorf("the incident: %v, %v", i, err)
	}
	if r, err := c.plans().GetReport(c.as("birk"), &pb.GetReportRequest{Id: "loop"}); err != nil || strings.Contains(strings.ToLower(withoutKeys(r.String())), "zofia") {
		t.Errorf("the report: %v", err)
	}

	// The decision is replayed to the same bytes.
	still := c.evidenceOf("loop")
	if !bytes.Equal(still.Input, evidence.Input) || !bytes.Equal(still.Report, evidence.Report) || still.Hash != evidence.Hash {
		t.Error("the evidence has changed")
	}
	name := filepath.Join(t.TempDir(), "evidence.json")
	if err := os.WriteFile(name, fmt.Appendf(nil, `{"plan":%q,"plan_version":%d,"hash":%q,"input":%s,"report":%s}`, still.Plan, still.PlanVersion, still.Hash, still.Input, still.Report), 0o600); err != nil {
		t.Fatal(err)
	}
	if code := app.Main([]string{"evaluate", name}); code != 0 {
		t.Errorf("lastlightd evaluate ends with %d", code)
	}

	// An old file does not bring the person back, and says why; nothing is added to the pseudonym.
	old := c.send("keeper", false, file...)
	text, _ := protojson.Marshal(old)
	if len(old.Problems) == 0 || !strings.Contains(string(text), "was erased") {
		t.Errorf("the old file: %.600s", text)
	}
	if _, err := c.people().CreatePerson(c.as("keeper"), &pb.CreatePersonRequest{Person: &pb.Person{Id: "zofia", FullName: "Zoe"}, RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("a new person under the old key: %v", err)
	}
	if _, err := c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: &pb.Person{Id: key, FullName: "Zoe"}, RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("a name for the pseudonym: %v", err)
	}
	if _, err := pb.NewAccessServiceClient(c.conn).GrantRole(c.as("keeper"), &pb.GrantRoleRequest{Grant: &pb.RoleGrant{Person: key, Role: "diver"}, RequestId: id()}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("a role for the pseudonym: %v", err)
	}
	// A dive read before the erasure is not written back over it.
	d.Divers[0].EndPressure = bar(93)
	if _, err := c.dives().UpdateDive(c.as("cora"), &pb.UpdateDiveRequest{Dive: d, ExpectedVersion: d.Version - 1, RequestId: id()}); status.Code(err) != codes.Aborted {
		t.Errorf("written back from before: %v", err)
	}

	// The list for backups has no names; there is nothing to do again.
	s := store.New(c.pool, c.clock.Now)
	erased, err := s.ErasedPeople(t.Context())
	if err != nil || len(erased) != 1 || erased[0].Pseudonym != done.Pseudonym {
		t.Errorf("%v, %v", erased, err)
	}
	if again, err := s.EraseAgain(t.Context(), done.Pseudonym); again || err != nil {
		t.Errorf("erased again: %v, %v", again, err)
	}
}

// Every table that refers to people is one of which it was thought what becomes of it: what goes, what stays, or what goes on with
// the key alone. A new one is found here.
func TestEveryTableOfPeopleIsThoughtOf(t *testing.T) {
	c := newClub(t, "2026-06-08 07:30")
	thought := map[string]bool{}
	for _, table := range strings.Fields(`card medical_status emergency_contact token role_grant letter digest expedition_participant watch_fact
 dive_diver dive dive_former plan plan_person plan_version decision waiver incident incident_person incident_former
 acknowledgement reading fill analysis service_event custody_event survey line_damage item left_item watch data_read erasure policy person`) {
		thought[table] = true
	}
	rows, err := c.pool.Query(t.Context(), `SELECT DISTINCT conrelid::regclass::text FROM pg_constraint WHERE contype = 'f' AND confrelid = 'person'::regclass`)
	if err != nil {
		t.Fatal(err)
	}
	for rows.Next() {
		var table string
		if err := rows.Scan(&table); err != nil {
			t.Fatal(err)
		}
		if !thought[table] {
			t.Errorf("%s refers to people: say in store/erase.go whether it goes with an erased person or stays, and here that it was thought of", table)
		}
	}
	if rows.Err() != nil {
		t.Fatal(rows.Err())
	}
	var loose string
	if err := c.pool.QueryRow(t.Context(), `SELECT COALESCE(string_agg(conrelid::regclass::text || '.' || conname, ', '), '') FROM pg_constraint
WHERE contype = 'f' AND confrelid = 'person'::regclass AND confupdtype <> 'c'`).Scan(&loose); err != nil || loose != "" {
		t.Errorf("these do not follow when a key is replaced: %s (%v)", loose, err)
	}
}

// A restored backup knows nothing of an erasure: the list beside it, which has no names, brings it up to date.
func TestErasureAfterARestore(t *testing.T) {
	c := everyKind(t)
	var pseudonym string
	if err := c.pool.QueryRow(t.Context(), `SELECT pseudonym FROM person WHERE id = 'zofia'`).Scan(&pseudonym); err != nil {
		t.Fatal(err)
	}
	s := store.New(c.pool, c.clock.Now)
	if done, err := s.EraseAgain(t.Context(), pseudonym); done || err == nil || !strings.Contains(err.Error(), "frozen") {
		t.Errorf("with an incident open: %v, %v", done, err)
	}
	if _, err := c.pool.Exec(t.Context(), `UPDATE incident SET state = 'closed'`); err != nil {
		t.Fatal(err)
	}
	if done, err := s.EraseAgain(t.Context(), pseudonym); !done || err != nil {
		t.Fatalf("%v, %v", done, err)
	}
	c.goneFromAll(append([]string{"zofia"}, marks...)...)
	for _, known := range []string{pseudonym, "P-ZZZZZZ"} { // the one again, and one made after the backup
		if done, err := s.EraseAgain(t.Context(), known); done || err != nil {
			t.Errorf("%s: %v, %v", known, done, err)
		}
	}
}
