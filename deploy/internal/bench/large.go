package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	v1 "lastlight/proto/lastlight/v1"
)

// ClubOptions says how large a club to measure, against one of 10,000 dives.
type ClubOptions struct {
	Address, CAFile, CommitteeToken, Database string
	Dives                                     int
	Rounds                                    int
	Out, Progress                             io.Writer
}

// The club at the beginning; it grows by its dives alone.
var smallClub = clubSize{divers: 2_000, items: 20_000, sites: 300, dives: 10_000}

// mayRise is how many times as long a call may take in the large club.
const mayRise = 1.5

// The matrix: 40 divers, 14 days, 5 sites.
const matrixDivers, matrixDays, matrixSites = 40, 14, 5

// historyListed is a page of a site's history: a site of the small club has 33 dives.
const historyListed = 20

// question is one call of the table; n counts the rounds.
type question struct {
	name string
	ask  func(ctx context.Context, n int) (time.Duration, error)
}

// Club measures the same calls in a small club and, on the same server, in the large one that it has grown to.
func Club(ctx context.Context, o ClubOptions) error {
	c, err := openClub(ctx, o.Address, o.CAFile, o.CommitteeToken, 1)
	if err != nil {
		return err
	}
	defer c.conn.Close()
	pool, err := pgxpool.New(ctx, o.Database)
	if err != nil {
		return err
	}
	defer pool.Close()
	_, plan, err := c.models(ctx)
	if err != nil {
		return err
	}
	s, err := c.seed(ctx, pool, plan, o.Progress)
	if err != nil {
		return err
	}
	if err := s.grow(ctx, smallClub); err != nil {
		return err
	}
	trip, err := c.trip(ctx, s)
	if err != nil {
		return err
	}
	questions := c.questions(s, plan, trip)
	before, err := measureClub(ctx, pool, questions, o.Rounds)
	if err != nil {
		return err
	}
	large := smallClub
	large.dives = o.Dives
	if err := s.grow(ctx, large); err != nil {
		return err
	}
	after, err := measureClub(ctx, pool, questions, o.Rounds)
	if err != nil {
		return err
	}
	return printClub(o.Out, questions, before, after, large.dives)
}

// seed takes from the demo what the seeded club is copied from.
func (c *club) seed(ctx context.Context, pool *pgxpool.Pool, plan *v1.Plan, out io.Writer) (*seed, error) {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	found, err := c.dives.ListDives(ctx, &v1.ListDivesRequest{PageSize: rowsListed}, c.who)
	if err != nil {
		return nil, err
	}
	s := &seed{pool: pool, out: out, sites: []string{plan.GetSite()}, latest: c.begin.Add(-30 * 24 * time.Hour).UTC().Truncate(time.Minute)}
	for _, d := range found.GetDives() {
		if d.GetPlan() == "" && d.GetKind() == "normal" {
			s.model = d
		}
	}
	if s.model == nil {
		return nil, fmt.Errorf("the demo's latest %d dives have no normal one without a plan", rowsListed)
	}
	s.model.Left, s.model.Expedition, s.model.Legs, s.model.Survey = nil, "", nil, 0
	s.model.State, s.model.RecordedBy, s.model.Version = "", "", 0
	for _, d := range plan.GetTeam() {
		s.people = append(s.people, d.GetPerson())
	}
	return s, nil
}

// trip is an expedition of the size that the matrix is judged by.
func (c *club) trip(ctx context.Context, s *seed) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	e := &v1.Expedition{
		Id: "bench-" + c.suffix, Title: "Bench", Sites: s.sites[1 : 1+matrixSites],
		FromDay: c.begin.AddDate(0, 0, 1).Format(time.DateOnly), ToDay: c.begin.AddDate(0, 0, matrixDays).Format(time.DateOnly),
	}
	for _, p := range s.people[len(s.people)-matrixDivers:] {
		e.Participants = append(e.Participants, &v1.Participant{Person: p})
	}
	made, err := v1.NewExpeditionServiceClient(c.conn).CreateExpedition(ctx, &v1.CreateExpeditionRequest{Expedition: e, RequestId: newRequest()}, c.who)
	if err != nil {
		return "", fmt.Errorf("create the expedition: %w", err)
	}
	return made.GetId(), nil
}

// timed is how long a call took.
func timed(ctx context.Context, call func(context.Context) error) (time.Duration, error) {
	ctx, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	begin := time.Now()
	err := call(ctx)
	return time.Since(begin), err
}

// questions are asked about the people and sites that both clubs have.
func (c *club) questions(s *seed, plan *v1.Plan, trip string) []question {
	roster, expeditions, dues := v1.NewRosterServiceClient(c.conn), v1.NewExpeditionServiceClient(c.conn), v1.NewDueServiceClient(c.conn)
	people, sites := slices.Clone(s.people), slices.Clone(s.sites)
	return []question{
		{"am I good to go", func(ctx context.Context, n int) (time.Duration, error) {
			return timed(ctx, func(ctx context.Context) error {
				_, err := roster.CheckGoodToGo(ctx, &v1.CheckGoodToGoRequest{Person: people[n%len(people)], Site: sites[n%len(sites)]}, c.who)
				return err
			})
		}},
		{"what is due for the club, first page", func(ctx context.Context, _ int) (time.Duration, error) {
			return timed(ctx, func(ctx context.Context) error {
				d, err := dues.ListDue(ctx, &v1.ListDueRequest{Club: true, PageSize: rowsListed}, c.who)
				if err == nil && len(d.GetEntries()) == 0 {
					err = errors.New("nothing is due")
				}
				return err
			})
		}},
		{fmt.Sprintf("matrix, %d divers × %d days × %d sites", matrixDivers, matrixDays, matrixSites), func(ctx context.Context, _ int) (time.Duration, error) {
			return timed(ctx, func(ctx context.Context) error {
				m, err := expeditions.GetEligibility(ctx, &v1.GetEligibilityRequest{Id: trip}, c.who)
				if want := matrixDivers * matrixDays * matrixSites; err == nil && len(m.GetCells()) != want {
					err = fmt.Errorf("%d cells, not %d", len(m.GetCells()), want)
				}
				return err
			})
		}},
		{"a page of a site's history", func(ctx context.Context, n int) (time.Duration, error) {
			return timed(ctx, func(ctx context.Context) error {
				h, err := c.sites.GetSiteHistory(ctx, &v1.GetSiteHistoryRequest{Site: sites[n%len(sites)], PageSize: historyListed}, c.who)
				if err == nil && len(h.GetEntries()) != historyListed {
					err = fmt.Errorf("a page of %d entries, not %d", len(h.GetEntries()), historyListed)
				}
				return err
			})
		}},
		{"a page of the club's dives", func(ctx context.Context, n int) (time.Duration, error) {
			return timed(ctx, func(ctx context.Context) error { return c.page(ctx, 0, n) })
		}},
		{submitPlan, func(ctx context.Context, n int) (time.Duration, error) {
			draft, err := c.draftPlan(ctx, plan, 0, fmt.Sprintf("club-%s-%d", newRequest()[:8], n))
			if err != nil {
				return 0, err
			}
			return timed(ctx, func(ctx context.Context) error { _, err := c.submitOne(ctx, 0, draft); return err })
		}},
	}
}

// taken is what a club's calls took: the times of each question, sorted, and the first of all, before anything was kept or
// prepared; and the sequential scans of dives meanwhile.
type taken struct {
	times [][]time.Duration
	first []time.Duration
	scans int64
}

func (t taken) median(i int) time.Duration { return t.times[i][len(t.times[i])/2] }
func (t taken) most(i int) time.Duration   { return t.times[i][len(t.times[i])*95/100] }

// warmRounds let each of the server's connections prepare its statements, and choose a plan for any argument.
const warmRounds = 20

// flushed is how long the database may keep an idle connection's counts to itself: PGSTAT_IDLE_INTERVAL, 10 s, and a little.
const flushed = 12 * time.Second

// measureClub asks everything in turns, so that a busy minute of the machine meets all alike.
func measureClub(ctx context.Context, pool *pgxpool.Pool, questions []question, rounds int) (t taken, err error) {
	t.times, t.first = make([][]time.Duration, len(questions)), make([]time.Duration, len(questions))
	before, err := sequentialScans(ctx, pool)
	if err != nil {
		return t, err
	}
	for n := range warmRounds + rounds {
		for i, q := range questions {
			took, err := q.ask(ctx, n)
			if err != nil {
				return t, fmt.Errorf("%s: %w", q.name, err)
			}
			switch {
			case n == 0:
				t.first[i] = took
			case n >= warmRounds:
				t.times[i] = append(t.times[i], took)
			}
		}
	}
	for _, times := range t.times {
		slices.Sort(times)
	}
	after, err := sequentialScans(ctx, pool)
	t.scans = after - before
	return t, err
}

// sequentialScans counts how often the log was read from end to end, by the database's own count.
func sequentialScans(ctx context.Context, pool *pgxpool.Pool) (n int64, err error) {
	select {
	case <-time.After(flushed):
	case <-ctx.Done():
		return 0, ctx.Err()
	}
	err = pool.QueryRow(ctx, "SELECT sum(seq_scan)::bigint FROM pg_stat_user_tables WHERE relname IN ('dive', 'dive_diver')").Scan(&n)
	return n, err
}

func printClub(out io.Writer, questions []question, before, after taken, dives int) error {
	_, err := fmt.Fprintf(out, "Both clubs have %d divers, %d items and %d sites.\n\n", smallClub.divers, smallClub.items, smallClub.sites)
	if err != nil {
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(w, "ms\tfirst, %d dives\tmedian\t95 of 100\tfirst, %d dives\tmedian\t95 of 100\tratio of medians\t\n", smallClub.dives, dives)
	ms := func(d time.Duration) float64 { return d.Seconds() * 1000 }
	for i, q := range questions {
		ratio := ms(after.median(i)) / ms(before.median(i))
		much := ""
		if ratio > mayRise {
			much = fmt.Sprintf("more than %.1f", mayRise)
		}
		fmt.Fprintf(w, "%s\t%.1f\t%.2f\t%.2f\t%.1f\t%.2f\t%.2f\t%.2f\t%s\n", q.name,
			ms(before.first[i]), ms(before.median(i)), ms(before.most(i)), ms(after.first[i]), ms(after.median(i)), ms(after.most(i)), ratio, much)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "\nSequential scans of dives meanwhile: %d in the small club, %d in the large one.\n", before.scans, after.scans)
	return err
}
