package stories

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"google.golang.org/protobuf/proto"

	"lastlight/engine"
	pb "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/decide"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
	"lastlight/server/zones"
)

// longRuns counts long evaluations: begun, and ended with a report.
type longRuns struct{ begun, ended atomic.Int64 }

// longDesk takes every plan for one that is long to judge. during is what happens while the first evaluation is made, the second
// and so on: within it, so that what would wait for the evaluation never ends.
func (c *club) longDesk(during ...func()) (desk *decide.Desk, runs *longRuns) {
	runs = new(longRuns)
	return decide.NewDesk(store.New(c.pool, c.clock.Now), zones.Load, func(in engine.Input, stop func(int) bool) (engine.Report, bool) {
		if stop(1 << 40) {
			return engine.Report{}, false
		}
		if n := int(runs.begun.Add(1)); n <= len(during) {
			during[n-1]()
		}
		r, ok := engine.EvaluateUntil(in, stop)
		if ok {
			runs.ended.Add(1)
		}
		return r, ok
	}), runs
}

func byCora(method string, body proto.Message) store.Mutation {
	return store.Mutation{RequestID: id(), Caller: "cora", Method: method, Body: body}
}

func (c *club) submitAt(ctx context.Context, desk *decide.Desk, plan string) (*pb.SubmitPlanResponse, error) {
	r := &pb.SubmitPlanRequest{Id: plan}
	return desk.Submit(ctx, byCora("Submit", r), r)
}

func (c *club) approveAt(desk *decide.Desk, p *pb.Plan, hash string) *pb.DecideResponse {
	r := &pb.ApprovePlanRequest{Id: p.Id, Version: 1, ReportHash: hash}
	out, err := desk.Approve(c.t.Context(), byCora("Approve", r), r)
	if err != nil {
		c.t.Errorf("approve: %v", err)
		return &pb.DecideResponse{}
	}
	return out
}

// longClub has two divers on an easy dive; draft makes a plan of theirs.
func longClub(t *testing.T) (c *club, draft func(name string) *pb.Plan) {
	c, _ = race(t)
	return c, func(name string) *pb.Plan {
		_, _, route := straight(200, 0)
		p := planOf(name, "spring", c.at("2026-06-08 09:00"), route, []diver{{id: "asta"}, {id: "birk"}}, []float64{200, 200})
		if _, err := c.plans().CreatePlan(c.as("cora"), &pb.CreatePlanRequest{Plan: p, RequestId: id()}); err != nil {
			t.Fatal(err)
		}
		return p
	}
}

// edit changes something of a person that no rule asks for, and gives the version.
func (c *club) edit(person string) int64 {
	c.t.Helper()
	p, err := c.people().GetPerson(c.as("keeper"), &pb.GetPersonRequest{Id: person})
	if err != nil {
		c.t.Fatal(err)
	}
	p.ShortName = fmt.Sprintf("Short %d", p.Version)
	if p, err = c.people().UpdatePerson(c.as("keeper"), &pb.UpdatePersonRequest{Person: p, RequestId: id()}); err != nil {
		c.t.Fatalf("%s cannot be changed: %v", person, err)
	}
	return p.Version
}

// isHeld tells whether a writer of a fact about the person would wait.
func (c *club) isHeld(person string) bool {
	c.t.Helper()
	_, err := c.pool.Exec(c.t.Context(), `SELECT FROM person WHERE id = $1 FOR UPDATE NOWAIT`, person)
	if pg, ok := errors.AsType[*pgconn.PgError](err); ok && pg.Code == "55P03" {
		return true
	}
	if err != nil {
		c.t.Fatal(err)
	}
	return false
}

// While a large plan is judged its people are written to, and what is stored is judged on what was written.
func TestPersonIsChangedWhileAPlanIsJudged(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	var version int64
	desk, runs := c.longDesk(func() { version = c.edit("asta") })
	out, err := c.submitAt(t.Context(), desk, p.Id)
	if err != nil {
		t.Fatal(err)
	}
	if runs.begun.Load() != 2 || out.Plan.State != pb.PlanState_PLAN_STATE_SUBMITTED {
		t.Errorf("judged %d times, want once more after the change; the plan is %v", runs.begun.Load(), out.Plan.State)
	}
	var stored int64
	var input, report []byte
	if err := c.pool.QueryRow(t.Context(), `SELECT (record_versions ->> 'person:asta')::bigint, input, report FROM evaluation WHERE plan = $1`, p.Id).Scan(&stored, &input, &report); err != nil {
		t.Fatal(err)
	}
	if stored != version {
		t.Errorf("it rests on version %d of the person, and %d stood", stored, version)
	}
	c.replays(input, report)
}

// replays: the stored report is the engine's on the stored input, byte for byte.
func (c *club) replays(input, report []byte) {
	c.t.Helper()
	var in engine.Input
	if err := json.Unmarshal(input, &in); err != nil {
		c.t.Fatal(err)
	}
	again, err := engine.Bytes(engine.Evaluate(in))
	if err != nil || !bytes.Equal(again, report) {
		c.t.Errorf("the stored input gives another report: %v", err)
	}
}

// What most decisions meet: nothing changes while the plan is judged, but the clock. The report is used, and stored with the
// minute of the decision.
func TestNothingChangesWhileAPlanIsJudged(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	minutes := func() { c.clock.set(c.clock.Now().Add(3 * time.Minute)) }
	desk, runs := c.longDesk(minutes, minutes, minutes)
	if _, err := c.submitAt(t.Context(), desk, p.Id); err != nil {
		t.Fatal(err)
	}
	c.clock.set(c.at("2026-06-08 08:50"))
	c.reading("spring", c.at("2026-06-08 08:45"))
	out, err := c.submitAt(t.Context(), desk, p.Id)
	if err != nil {
		t.Fatal(err)
	}
	decision := c.approveAt(desk, p, out.Report.Hash)
	if !decision.Decided || runs.begun.Load() != 3 {
		t.Fatalf("decided %v (%s), judged %d times for three calls", decision.Decided, decision.Explanation, runs.begun.Load())
	}
	rows, err := c.pool.Query(t.Context(), `SELECT input, report, evaluated_at FROM evaluation WHERE plan = $1`, p.Id)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var input, report []byte
		var at time.Time
		if err := rows.Scan(&input, &report, &at); err != nil {
			t.Fatal(err)
		}
		c.replays(input, report)
		var in engine.Input
		if err := json.Unmarshal(input, &in); err != nil || in.DecidedAt.Unix() != at.Truncate(time.Minute).Unix() {
			t.Errorf("judged as of %v, stored at %v, %v", in.DecidedAt, at, err)
		}
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	// The team goes in at the minute of the call, however long it is judged.
	called := c.clock.Now()
	desk, runs = c.longDesk(minutes)
	r := &pb.SignInRequest{Plan: p.Id, Version: 1, Measured: measuredAs(p, 200, 200)}
	in, err := desk.SignIn(t.Context(), byCora("SignIn", r), r, func(string) bool { return true })
	if err != nil || !in.Go || runs.begun.Load() != 1 {
		t.Fatalf("%v, go %v %v, judged %d times", err, in.GetGo(), in.GetChanged(), runs.begun.Load())
	}
	if at := in.Watch.Divers[0].InAt.AsTime(); !at.Equal(called) {
		t.Errorf("in at %v, the call came at %v", at, called)
	}
}

// A card is revoked while the plan is judged for its approval: it is judged again, and not approved.
func TestCardRevokedWhileAPlanIsJudged(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	hash := c.again(p.Id).Report.Hash
	desk, runs := c.longDesk(func() {
		if _, err := c.people().RevokeCard(c.as("keeper"), &pb.RevokeCardRequest{Person: "birk", Card: "level", Reason: "taken back", RequestId: id()}); err != nil {
			t.Errorf("revoke: %v", err)
		}
	})
	out := c.approveAt(desk, p, hash)
	if out.Decided || runs.begun.Load() != 2 || c.standing(p.Id) == pb.PlanState_PLAN_STATE_APPROVED {
		t.Errorf("decided %v after %d evaluations, the plan is %v", out.Decided, runs.begun.Load(), c.standing(p.Id))
	}
}

// The day of the dive begins while the plan is judged: what could not be read before may be asked for now, so it is judged again.
func TestMidnightWhileAPlanIsJudged(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	c.clock.set(c.at("2026-06-07 23:59"))
	desk, runs := c.longDesk(func() { c.clock.set(c.at("2026-06-08 00:01")) })
	if _, err := c.submitAt(t.Context(), desk, p.Id); err != nil || runs.begun.Load() != 2 {
		t.Errorf("judged %d times, %v", runs.begun.Load(), err)
	}
}

// Facts that change each time are held at last, so that a decision is taken in the end.
func TestFactsThatChangeAreHeldAtLast(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	change := func() {
		if c.isHeld("asta") || c.isHeld("cover") {
			t.Error("somebody is held while the plan is judged")
		}
		c.edit("asta")
	}
	held := false
	desk, runs := c.longDesk(change, change, change, func() { held = c.isHeld("asta") })
	if _, err := c.submitAt(t.Context(), desk, p.Id); err != nil {
		t.Fatal(err)
	}
	if runs.begun.Load() != 4 || !held {
		t.Errorf("judged %d times, the last with its people held: %v; want 4, held", runs.begun.Load(), held)
	}
}

// A call that has ended is worked on no more: the engine stops, nothing is written, nobody is held, and the turn is another's.
func TestEndedCallIsNotJudgedOn(t *testing.T) {
	c, draft := longClub(t)
	p := draft("long")
	for place, before := range map[string][]func(){
		"without locks": nil, "under locks": {func() { c.edit("asta") }, func() { c.edit("asta") }, func() { c.edit("asta") }},
	} {
		ctx, hangUp := context.WithCancel(t.Context())
		desk, runs := c.longDesk(append(before, hangUp)...)
		_, err := c.submitAt(ctx, desk, p.Id)
		if !fault.Is(err, fault.DeadlineExceeded) || int(runs.begun.Load()) != len(before)+1 || int(runs.ended.Load()) != len(before) {
			t.Errorf("%s: %v; %d evaluations begun, %d ended with a report", place, err, runs.begun.Load(), runs.ended.Load())
		}
		var rows int
		if err := c.pool.QueryRow(t.Context(), `SELECT count(*) FROM evaluation WHERE plan = $1`, p.Id).Scan(&rows); err != nil || rows > 0 || c.isHeld("asta") {
			t.Errorf("%s: %d evaluations stored, people held %v, %v", place, rows, c.isHeld("asta"), err)
		}
		if _, err := desk.Evaluate(t.Context(), p.Id, 1); err != nil {
			t.Errorf("%s: the next call: %v", place, err)
		}
	}
}

// Long evaluations run on half of the processors. A plan that is soon judged waits for none of them, and who waits in vain is told.
func TestLongEvaluationsTakeTurns(t *testing.T) {
	c, draft := longClub(t)
	long, short := draft("long"), draft("short")
	places := max(1, runtime.GOMAXPROCS(0)/2)
	calls := 2*places + 1
	var tried, inside, most atomic.Int64
	var full sync.Once
	as := func(who string) context.Context { // each waits for their own turn
		return access.WithCaller(t.Context(), access.NewCaller(who, access.Token{Person: who}, nil))
	}
	var desk *decide.Desk
	var hangUp context.CancelFunc
	desk = decide.NewDesk(store.New(c.pool, c.clock.Now), zones.Load, func(in engine.Input, stop func(int) bool) (engine.Report, bool) {
		switch {
		case in.Plan.ID == short.Id:
			return engine.EvaluateUntil(in, stop)
		case stop(1 << 40):
			if tried.Add(1) > int64(calls) {
				hangUp()
			}
			return engine.Report{}, false
		}
		now := inside.Add(1)
		defer inside.Add(-1)
		for was := most.Load(); now > was && !most.CompareAndSwap(was, now); was = most.Load() {
		}
		for tried.Load() < int64(calls) || inside.Load() < int64(places) && most.Load() < int64(places) {
			runtime.Gosched()
		}
		if now == int64(places) {
			full.Do(func() {
				if _, err := desk.Evaluate(t.Context(), short.Id, 1); err != nil {
					t.Errorf("the short plan: %v", err)
				}
				var ctx context.Context
				ctx, hangUp = context.WithCancel(as("in vain"))
				if _, err := desk.Evaluate(ctx, long.Id, 1); !fault.Is(err, fault.DeadlineExceeded) {
					t.Errorf("who waits in vain: %v", err)
				}
			})
		}
		return engine.EvaluateUntil(in, stop)
	})
	var wait sync.WaitGroup
	for n := range calls {
		wait.Go(func() {
			if _, err := desk.Evaluate(as(fmt.Sprint("caller ", n)), long.Id, 1); err != nil {
				t.Errorf("the long plan: %v", err)
			}
		})
	}
	wait.Wait()
	if most.Load() != int64(places) {
		t.Errorf("%d long evaluations at once, want %d", most.Load(), places)
	}
}

// The races of an approval once more, judged without locks.
func TestRaceOfALongApproval(t *testing.T) {
	c, make := race(t)
	desk, _ := c.longDesk()
	slipped, approved := 0, 0
	for run := range races(t) {
		card := "level"
		if run > 0 {
			card = fmt.Sprintf("level-%d", run)
		}
		p, r := make(run)
		keeper := c.as("keeper")
		both(run, func() {
			if c.approveAt(desk, p, r.Hash).Decided {
				approved++
			}
		}, func() {
			if _, err := c.people().RevokeCard(keeper, &pb.RevokeCardRequest{Person: "birk", Card: card, Reason: "taken back", RequestId: id()}); err != nil {
				t.Errorf("revoke: %v", err)
			}
		})
		if c.standing(p.Id) == pb.PlanState_PLAN_STATE_APPROVED {
			slipped++
		}
		c.withdraw(p.Id)
		c.newCard("birk", fmt.Sprintf("level-%d", run+1))
		if t.Failed() {
			return
		}
	}
	noneSlipped(t, approved, slipped, "on a revoked card")
}

func TestRaceOfTwoLongApprovals(t *testing.T) {
	c, make := race(t)
	c.apply(record(&pb.Person{Id: "spare", FullName: "Spare cover"}), record(&pb.RoleGrant{Person: "spare", Role: "cover"}))
	desk, _ := c.longDesk()
	for run := range races(t) {
		p, r := make(run * 2)
		q := planOf(fmt.Sprintf("other-%d", run), "spring", c.at("2026-06-08 09:10"), p.Route, []diver{{id: "birk"}, {id: "asta"}}, []float64{200, 200})
		q.Cover = "spare"
		s := c.submit(q).Report
		var one, two *pb.DecideResponse
		both(run, func() { one = c.approveAt(desk, p, r.Hash) }, func() { two = c.approveAt(desk, q, s.Hash) })
		if one.Decided == two.Decided {
			t.Fatalf("run %d: both decided %v: %s | %s", run, one.Decided, one.Explanation, two.Explanation)
		}
		c.withdraw(p.Id)
		c.withdraw(q.Id)
	}
}
