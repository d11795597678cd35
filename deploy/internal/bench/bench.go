package bench

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	v1 "lastlight/proto/lastlight/v1"
)

// Options says what to measure, and for how long.
type Options struct {
	Address, CAFile, CommitteeToken, Database string
	Callers                                   []int         // as many at once; the last is the most
	Span                                      time.Duration // of each measurement, in turns; as much as a fifth of it for warming up besides
	Plans                                     int           // submitted and approved by each caller
	Out                                       io.Writer
}

// table holds the rates of each line by number of callers.
type table struct {
	callers []int
	names   []string
	rates   map[string][]rate
	floors  map[string]string // name of the line that a line is a share of
}

func (t *table) add(name, floor string, r rate) {
	if _, ok := t.rates[name]; !ok {
		t.names = append(t.names, name)
	}
	t.rates[name] = append(t.rates[name], r)
	t.floors[name] = floor
}

// The lines of the table.
const (
	bareCall        = "bare unary call"
	bareTransaction = "bare transaction (1 locked, 1 updated, 3 inserted)"
	writeFloor      = "floor of a write: both"
	listFloor       = "floor of a list: bare call, the same rows selected"
	recordReading   = "record a reading"
	listDives       = "list a page of 50 dives"
	linesFloor      = "floor of lines: bare call, their lines selected"
	listLines       = "list them as lines"
	submitPlan      = "submit a plan"
	approvePlan     = "approve a plan"
)

// Run measures everything in one run, and prints the table.
func Run(ctx context.Context, o Options) error {
	most := 1
	for _, n := range o.Callers {
		most = max(most, n)
	}
	c, err := openClub(ctx, o.Address, o.CAFile, o.CommitteeToken, most)
	if err != nil {
		return err
	}
	defer c.conn.Close()
	f, err := newFloor(ctx, o.Database, most, c.health)
	if err != nil {
		return err
	}
	defer f.pool.Close()
	largest, model, err := c.models(ctx)
	if err != nil {
		return err
	}
	if err := c.copyRecords(ctx, model); err != nil {
		return err
	}
	t := &table{callers: o.Callers, rates: map[string][]rate{}, floors: map[string]string{}}
	for _, callers := range o.Callers {
		lines := []line{
			{name: bareCall, op: f.call},
			{name: bareTransaction, op: f.transaction},
			{name: writeFloor, op: f.write},
			{name: recordReading, floor: writeFloor, op: c.reading},
			{name: listFloor, op: f.list},
			{name: listDives, floor: listFloor, op: c.page},
			{name: linesFloor, op: f.lines},
			{name: listLines, floor: linesFloor, op: c.lines},
		}
		if err := sustainInTurns(ctx, callers, o.Span, lines); err != nil {
			return err
		}
		for _, l := range lines {
			t.add(l.name, l.floor, l.rate)
		}
		plans, err := c.draftPlans(ctx, model, callers, o.Plans)
		if err != nil {
			return err
		}
		r, err := exhaust(ctx, callers, o.Plans, c.submit(plans))
		if err != nil {
			return fmt.Errorf("%s, %d callers: %w", submitPlan, callers, err)
		}
		t.add(submitPlan, writeFloor, r)
		spent := make([]time.Duration, callers)
		if _, err := exhaust(ctx, callers, o.Plans, c.approve(spent)); err != nil {
			return fmt.Errorf("%s, %d callers: %w", approvePlan, callers, err)
		}
		t.add(approvePlan, writeFloor, meanRate(spent, o.Plans))
	}
	if err := t.print(o.Out); err != nil {
		return err
	}
	for _, p := range []struct {
		what string
		plan *v1.Plan
	}{{"the demo's largest plan", largest}, {"the plan submitted and approved here", model}} {
		e, err := c.evaluation(ctx, p.plan)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(o.Out, "\nThe engine alone, one full evaluation of %s, %s: %.0f µs, %d allocations, %d bytes.\n",
			p.what, p.plan.GetId(), float64(e.NsPerOp())/1000, e.AllocsPerOp(), e.AllocedBytesPerOp()); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintln(o.Out, "Submit evaluates once, approve once more: take this from their mean times to see the rest.\n"+
		"Approve is timed between withdrawals, which run beside it at several callers and are not counted.")
	return err
}

// meanRate is the rate of callers who would do nothing but what took this time, each as often.
func meanRate(spent []time.Duration, each int) rate {
	var total time.Duration
	for _, s := range spent {
		total += s
	}
	calls := len(spent) * each
	mean := total / time.Duration(calls)
	return rate{float64(len(spent)) / mean.Seconds(), mean, calls}
}

func (t *table) print(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(w, "\t")
	for _, n := range t.callers {
		fmt.Fprintf(w, "calls/s at %d\tmean\tof its floor\t", n)
	}
	fmt.Fprintln(w)
	for _, name := range t.names {
		fmt.Fprintf(w, "%s\t", name)
		for i, r := range t.rates[name] {
			share := ""
			if floor := t.floors[name]; floor != "" {
				share = fmt.Sprintf("%.0f %%", 100*r.perSecond/t.rates[floor][i].perSecond)
			}
			fmt.Fprintf(w, "%.0f\t%v\t%s\t", r.perSecond, r.mean.Round(time.Microsecond), share)
		}
		fmt.Fprintln(w)
	}
	return w.Flush()
}
