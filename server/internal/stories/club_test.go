// Package stories plays the handbook's situations through the public API: a
// real server over TLS on a real database, with a clock that the story sets.
package stories

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"lastlight/engine/policy"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/store"
)

// clock is the story's time.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = t
}

// club is a server with one committee member, "keeper", and a coordinator, "cora".
type club struct {
	t     *testing.T
	clock *clock
	conn  *grpc.ClientConn
	pool  *pgxpool.Pool
	token map[string]string // person → secret
	zone  *time.Location
}

// site is what the stories' sums rest on: pressure 1 + depth/10 bar.
const (
	surfaceBar = 1.0
	density    = 0.1 * 1e5 / 9.80665 // kg/m³ that make 0.1 bar a metre
)

// as gives a context that calls as this person, issuing a token if there is none yet.
func (c *club) as(person string) context.Context {
	c.t.Helper()
	if _, ok := c.token[person]; !ok {
		issued, err := pb.NewAccessServiceClient(c.conn).IssueToken(c.as("keeper"), &pb.IssueTokenRequest{Person: person, Device: "test", RequestId: id()})
		if err != nil {
			c.t.Fatalf("token for %s: %v", person, err)
		}
		c.token[person] = issued.Secret
	}
	ctx, cancel := context.WithTimeout(c.t.Context(), 25*time.Second)
	c.t.Cleanup(cancel)
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+c.token[person])
}

func id() string { return uuid.NewString() }

func (c *club) plans() pb.PlanServiceClient      { return pb.NewPlanServiceClient(c.conn) }
func (c *club) dives() pb.DiveServiceClient      { return pb.NewDiveServiceClient(c.conn) }
func (c *club) gear() pb.GearServiceClient       { return pb.NewGearServiceClient(c.conn) }
func (c *club) sites() pb.SiteServiceClient      { return pb.NewSiteServiceClient(c.conn) }
func (c *club) people() pb.RosterServiceClient   { return pb.NewRosterServiceClient(c.conn) }
func (c *club) policies() pb.PolicyServiceClient { return pb.NewPolicyServiceClient(c.conn) }

// apply stores records as the keeper, each by its own method.
func (c *club) apply(records ...*pb.Record) {
	c.t.Helper()
	for _, r := range records {
		if err := c.create(r); err != nil {
			c.t.Fatalf("%v: %v", r, err)
		}
	}
}

// at reads a site-local wall-clock time, "2026-06-08 09:00".
func (c *club) at(text string) time.Time {
	c.t.Helper()
	t, err := time.ParseInLocation("2006-01-02 15:04", text, c.zone)
	if err != nil {
		c.t.Fatal(err)
	}
	return t
}

func stamp(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }

func bar(x float64) *pb.Pressure { return &pb.Pressure{Unit: &pb.Pressure_Bar{Bar: x}} }

// adoptPolicy puts the stories' policy in force: the shipped default with the
// sums' settings (stories.md, head), changed further by edit.
func (c *club) adoptPolicy(edit func(*policy.Policy)) {
	c.t.Helper()
	name := c.draftPolicy(edit)
	long := &pb.AdoptPolicyRequest{Id: name, InForceFrom: "2020-01-01"} // as if adopted then: the server adopts for days to come alone
	if _, err := store.Mutate(c.t.Context(), store.New(c.pool, c.clock.Now), store.Mutation{RequestID: id(), Caller: "keeper", Method: "AdoptPolicy", Body: long}, func(ctx context.Context, tx *store.Tx) (*pb.Policy, error) {
		return tx.AdoptPolicy(ctx, long.Id, long.InForceFrom)
	}); err != nil {
		c.t.Fatalf("adopt: %v", err)
	}
}

// draftPolicy enters what adoptPolicy would adopt, and gives its id.
func (c *club) draftPolicy(edit func(*policy.Policy)) string {
	c.t.Helper()
	name, err := c.tryPolicy(edit)
	if err != nil {
		c.t.Fatalf("policy: %v", err)
	}
	return name
}

// tryPolicy enters what draftPolicy would enter; the server may refuse it.
func (c *club) tryPolicy(edit func(*policy.Policy)) (name string, err error) {
	c.t.Helper()
	p := policy.Default()
	p.Gas.Model = "ideal"
	p.Gas.StressFactor, p.Gas.ConsumptionFloorLMin, p.Gas.DelayMin = 1, 0, 0
	p.Gas.SharingReserveBar, p.Gas.PlannedReserveBar, p.Gas.MinimumGasBar, p.Gas.StepBar = 0, 0, 0, 5
	p.Gas.CountOpenWaterAscent = false
	for i := range p.Ladder {
		p.Ladder[i].MinStartGasL = 0
	}
	if edit != nil {
		edit(&p)
	}
	document := &structpb.Struct{}
	b, err := jsonOf(p)
	if err != nil {
		c.t.Fatal(err)
	}
	if err := protojson.Unmarshal(b, document); err != nil {
		c.t.Fatal(err)
	}
	name = "story-" + strings.ToLower(id()[:8])
	_, err = c.policies().CreatePolicy(c.as("keeper"), &pb.CreatePolicyRequest{Policy: &pb.Policy{Id: name, Document: document, Reason: "the story's sums"}, RequestId: id()})
	return name, err
}

// levelSite is a passage at one depth, the opening at that depth too: what the
// stories call a level passage. Stations and legs are named in order.
func levelSite(name, zone string, depth float64, stations []*pb.Station, legs []*pb.Leg) []*pb.Record {
	for _, s := range stations {
		s.DepthM = &depth
	}
	for _, l := range legs {
		if l.Bottom == "" {
			l.Bottom = "clear"
		}
	}
	return []*pb.Record{
		{Record: &pb.Record_Site{Site: &pb.Site{
			Id: name, Title: "Site " + name, TimeZone: zone, WaterDensity: density, SurfacePressure: &pb.Site_BarometerBar{BarometerBar: surfaceBar},
			WaterTemperatureC: proto.Float64(10), Grade: 3, PermitRequired: proto.Bool(false),
			Emergency: &pb.EmergencySheet{EmergencyNumber: "112", CoordinatorReachedAtWater: true},
		}}},
		{Record: &pb.Record_Survey{Survey: &pb.Survey{Site: name, SurveyedDay: "2025-01-10", SurveyedBy: "club", Stations: stations, Legs: legs}}},
	}
}

// diver describes one diver of a story, complete in everything the story is not about.
type diver struct {
	id       string
	level    string  // FULL if empty
	litres   float64 // water volume of the mains together; 24 if 0
	single   bool    // one cylinder of that volume instead of a twinset
	apart    bool    // the two are independent supplies instead of a twinset
	rate     float64 // L/min; 20 if 0
	born     string  // 1985-04-01 if empty
	unseen   bool    // nobody else has seen the card
	noCards  bool
	oxygen   float64 // percent; 21 if 0
	noDives  bool
	issued   string // of the level card; 800 days ago if empty
	endorses []string
}

func (d diver) mix() float64 {
	if d.oxygen == 0 {
		return 21
	}
	return d.oxygen
}

// enrol enters divers with cards, medical, gear, fills and analyses, and eight
// recorded dives each at the site in the last months.
func (c *club) enrol(site string, divers ...diver) {
	c.t.Helper()
	now := c.clock.Now()
	day := func(back int) string { return now.AddDate(0, 0, -back).In(c.zone).Format("2006-01-02") }
	records := c.analyser()
	var cards [][2]string
	for i, d := range divers {
		if d.level == "" {
			d.level = "FULL"
		}
		if d.litres == 0 {
			d.litres = 24
		}
		if d.rate == 0 {
			d.rate = 20
		}
		if d.born == "" {
			d.born = "1985-04-01"
		}
		if d.issued == "" {
			d.issued = day(800)
		}
		p := &pb.Person{
			Id: d.id, FullName: "Diver " + d.id, ShortName: strings.ToUpper(d.id[:1]) + d.id[1:], Initials: strings.ToUpper(d.id[:2]), BirthDay: &d.born,
			Consumption: &pb.SurfaceRate{Unit: &pb.SurfaceRate_LitresPerMinute{LitresPerMinute: d.rate}},
			Medical:     &pb.MedicalStatus{ExaminedDay: day(100), DeclaredDay: day(50)},
			// The card is older than the dives on record.
			Reassessments: []*pb.Reassessment{{Day: day(200), AssessedBy: "keeper"}},
		}
		if !d.noCards {
			p.Cards = append(p.Cards, &pb.Card{Id: "level", Level: d.level, IssuedDay: d.issued, IssuingBody: "test"})
			for _, e := range d.endorses {
				p.Cards = append(p.Cards, &pb.Card{Id: strings.ToLower(e), Endorsement: e, IssuedDay: day(800), IssuingBody: "test"})
			}
			if !d.unseen {
				for _, card := range p.Cards {
					cards = append(cards, [2]string{d.id, card.Id})
				}
			}
		}
		records = append(records, record(p), record(&pb.RoleGrant{Person: d.id, Role: "diver"}), record(&pb.RoleGrant{Person: d.id, Role: "leader"}))
		names := []string{d.id + "-left", d.id + "-right"}
		kind := "twinset"
		if d.single {
			names, kind = names[:1], "single"
		} else if d.apart {
			kind = "sidemount"
		}
		for j, name := range names {
			records = append(records, record(&pb.Cylinder{
				Id: name, Serial: fmt.Sprintf("%d%d", 1000+i, j), Maker: "Maker of " + d.id, Material: "steel", Jurisdiction: "de", OxygenClean: "clean", Owner: d.id,
				WaterVolume:     &pb.WaterVolume{Unit: &pb.WaterVolume_Litres{Litres: d.litres / float64(len(names))}},
				WorkingPressure: bar(232),
				ServiceEvents:   []*pb.ServiceEvent{{Id: name + "-hydro", Kind: "hydro", Date: day(300)}, {Id: name + "-visual", Kind: "visual", Date: day(200)}, {Id: name + "-clean", Kind: "clean", Date: day(200)}},
			}), record(&pb.Fill{Id: name + "-fill", Cylinder: name, FilledAt: stamp(now.Add(-50 * time.Hour)), Pressure: bar(215), Intended: &pb.GasMix{OxygenPercent: d.mix()}}),
				record(&pb.Analysis{Id: name + "-analysis", Cylinder: name, AnalysedAt: stamp(now.Add(-49 * time.Hour)), OxygenPercent: fmt.Sprintf("%.1f", d.mix()), HeliumPercent: "0", AnalysedBy: d.id, Analyser: "analyser", CalibratedAt: stamp(now.Add(-50 * time.Hour)), AirReadingPercent: "20.9"}))
		}
		records = append(records, record(&pb.CylinderSet{Id: d.id + "-mains", Kind: kind, Cylinders: names, DualOutlet: d.single, Owner: d.id}))
		for _, e := range []*pb.Equipment{
			{Id: d.id + "-primary", Kind: "light_primary", BurnMin: proto.Float64(600)},
			{Id: d.id + "-backup-1", Kind: "light_backup", BurnMin: proto.Float64(400)},
			{Id: d.id + "-backup-2", Kind: "light_backup", BurnMin: proto.Float64(400)},
			{Id: d.id + "-spool", Kind: "spool", LineM: proto.Float64(50)},
			{Id: d.id + "-reel", Kind: "reel", LineM: proto.Float64(200)},
		} {
			e.Owner = d.id
			records = append(records, record(c.lookedAfter(e)))
		}
	}
	for k := range 8 {
		entered := now.AddDate(0, 0, -11-7*k)
		dive := &pb.Dive{
			Id: fmt.Sprintf("past-%s-%d", divers[0].id, k), Site: site, Kind: "normal", EnteredAt: stamp(entered), OutAt: stamp(entered.Add(50 * time.Minute)),
			MaxDepthM: proto.Float64(18), PenetrationM: proto.Float64(2000), Zone: "cave",
		}
		for _, d := range divers {
			if !d.noDives {
				level := d.level
				if level == "" {
					level = "FULL"
				}
				dive.Divers = append(dive.Divers, &pb.DiveDiver{Person: d.id, CountedAs: level, Used: d.endorses, Gas: &pb.GasMix{OxygenPercent: d.mix()}})
			}
		}
		if len(dive.Divers) > 0 {
			records = append(records, record(dive))
		}
	}
	c.apply(records...)
	for _, card := range cards {
		if _, err := c.people().RecordCardSeen(c.as("keeper"), &pb.RecordCardSeenRequest{Person: card[0], Card: card[1], SeenAt: stamp(now.AddDate(0, 0, -90)), RequestId: id()}); err != nil {
			c.t.Fatalf("card of %s: %v", card[0], err)
		}
	}
}

// analyser is the club's, entered once, its cell new.
func (c *club) analyser() []*pb.Record {
	if _, err := c.gear().GetEquipment(c.as("keeper"), &pb.GetEquipmentRequest{Id: "analyser"}); err == nil {
		return nil
	}
	cell := c.clock.Now().AddDate(0, 0, -60).In(c.zone).Format("2006-01-02")
	return []*pb.Record{record(&pb.Equipment{Id: "analyser", Kind: "analyser", ServiceEvents: []*pb.ServiceEvent{{Id: "analyser-cell", Kind: "cell", Date: cell}}})}
}

// lookedAfter gives a piece of equipment what keeps it in date.
func (c *club) lookedAfter(e *pb.Equipment) *pb.Equipment {
	done := c.clock.Now().AddDate(0, 0, -40).In(c.zone).Format("2006-01-02")
	for _, kind := range map[string][]string{"light_primary": {"burn", "battery"}, "light_backup": {"burn", "battery"}, "spool": {"check"}, "reel": {"check"}}[e.Kind] {
		e.ServiceEvents = append(e.ServiceEvents, &pb.ServiceEvent{Id: e.Id + "-" + kind, Kind: kind, Date: done})
	}
	return e
}

// record wraps a message for a file.
func record(m proto.Message) *pb.Record {
	r := &pb.Record{}
	fields := r.ProtoReflect().Descriptor().Oneofs().ByName("record").Fields()
	for i := range fields.Len() {
		if f := fields.Get(i); f.Message().FullName() == m.ProtoReflect().Descriptor().FullName() {
			r.ProtoReflect().Set(f, protoreflectMessage(m))
			return r
		}
	}
	panic("no such record: " + string(m.ProtoReflect().Descriptor().FullName()))
}

// reading is a look at the water in which everything is within limits.
func (c *club) reading(site string, at time.Time) {
	c.t.Helper()
	_, err := c.sites().RecordReading(c.as("cora"), &pb.RecordReadingRequest{Reading: &pb.Reading{
		Site: site, ReadAt: stamp(at), LevelM: proto.Float64(0.5), Flow: "none", VisibilityM: proto.Float64(15),
	}, RequestId: id()})
	if err != nil {
		c.t.Fatalf("reading: %v", err)
	}
}

// planOf makes a plan of a team; starts are bar in the mains.
func planOf(name, site string, entry time.Time, route *pb.Route, divers []diver, starts []float64) *pb.Plan {
	p := &pb.Plan{Id: name, Site: site, Kind: "normal", Goal: "story", Leader: divers[0].id, PlannedEntry: stamp(entry), Route: route, Cover: "cover"}
	for i, d := range divers {
		p.Team = append(p.Team, &pb.PlanDiver{
			Person: d.id, Mains: d.id + "-mains", StartPressure: bar(starts[i]), Gas: &pb.GasMix{OxygenPercent: d.mix()}, TemperatureC: proto.Float64(20),
			Equipment: []string{d.id + "-primary", d.id + "-backup-1", d.id + "-backup-2", d.id + "-spool", d.id + "-reel"}, Markers: 4, Arrows: 3, CuttingTools: 2, Masks: 1,
		})
	}
	return p
}

func (c *club) submit(p *pb.Plan) *pb.SubmitPlanResponse {
	c.t.Helper()
	if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()}); err != nil {
		c.t.Fatalf("create plan %s: %v", p.Id, err)
	}
	out, err := c.plans().SubmitPlan(c.as("cora"), &pb.SubmitPlanRequest{Id: p.Id, RequestId: id()})
	if err != nil {
		c.t.Fatalf("submit plan %s: %v", p.Id, err)
	}
	return out
}

func (c *club) approve(p *pb.Plan, r *pb.Report) *pb.DecideResponse {
	c.t.Helper()
	out, err := c.plans().ApprovePlan(c.as("cora"), &pb.ApprovePlanRequest{Id: p.Id, Version: r.PlanVersion, ReportHash: r.Hash, RequestId: id()})
	if err != nil {
		c.t.Fatalf("approve %s: %v", p.Id, err)
	}
	return out
}

// blocks lists what stops a plan, for messages and searches.
func blocks(r *pb.Report) []string {
	var out []string
	for _, f := range r.Findings {
		if slices.Contains([]string{"refuse", "indeterminate", "needs_waiver"}, f.Status) {
			out = append(out, f.Rule+": "+f.Message+" ["+f.Remedy+"]")
		}
	}
	return out
}

// mustSay fails unless one blocking finding has all the words.
func (c *club) mustSay(r *pb.Report, words ...string) {
	c.t.Helper()
	for _, text := range blocks(r) {
		if !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) }) {
			return
		}
	}
	c.t.Errorf("nothing says %q; what is said:\n  %s", words, strings.Join(blocks(r), "\n  "))
}

// turns gives the printed turn pressures by person.
func turns(figures []*pb.DiverFigures) map[string]float64 {
	out := map[string]float64{}
	for _, d := range figures {
		for _, t := range d.Turns {
			out[d.Person] = t.TurnBar
		}
	}
	return out
}
