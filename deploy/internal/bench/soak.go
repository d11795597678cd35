package bench

import (
	"context"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	v1 "lastlight/proto/lastlight/v1"
)

// SoakOptions says how long to keep a server busy, and with what.
type SoakOptions struct {
	Address, CAFile, CommitteeToken string
	ServerPid                       int
	Callers                         int
	Span                            time.Duration
	Report                          time.Duration // between two lines of the report
	Out                             io.Writer
}

// planEvery is how many readings and lists go with one plan submitted, approved and withdrawn.
const planEvery = 20

// mayGrow is how much more memory the server may hold at the end than after the first quarter.
const mayGrow = 1.5

// Soak keeps the server busy with the main job's calls and fails when a call fails or the server's memory keeps growing.
func Soak(ctx context.Context, o SoakOptions) error {
	c, err := openClub(ctx, o.Address, o.CAFile, o.CommitteeToken, o.Callers)
	if err != nil {
		return err
	}
	defer c.conn.Close()
	_, model, err := c.models(ctx)
	if err != nil {
		return err
	}
	if err := c.copyRecords(ctx, model); err != nil {
		return err
	}
	var done atomic.Int64
	watch, stop := context.WithCancel(ctx)
	var watched error
	var watcher sync.WaitGroup
	watcher.Go(func() { watched = o.observe(watch, &done) })
	begin := time.Now()
	_, err = drive(ctx, o.Callers, func(ctx context.Context, caller int, count func()) error {
		for n := 0; time.Since(begin) < o.Span; n++ {
			if err := c.mixed(ctx, caller, n, model); err != nil {
				return fmt.Errorf("after %v: %w", time.Since(begin).Round(time.Second), err)
			}
			count()
			done.Add(1)
		}
		return nil
	}, 0)
	stop()
	watcher.Wait()
	if err != nil {
		return err
	}
	return watched
}

func (c *club) mixed(ctx context.Context, caller, n int, model *v1.Plan) error {
	if n%planEvery == planEvery-1 {
		return c.wholePlan(ctx, caller, n, model)
	}
	if n%2 == 0 {
		return c.reading(ctx, caller, n)
	}
	return c.page(ctx, caller, n)
}

// wholePlan takes one copy of a plan from draft to withdrawn.
func (c *club) wholePlan(ctx context.Context, caller, n int, model *v1.Plan) error {
	draft, err := c.draftPlan(ctx, model, caller, fmt.Sprintf("soak-%d-%d", caller, n))
	if err != nil {
		return err
	}
	answer, err := c.submitOne(ctx, caller, draft)
	if err != nil {
		return err
	}
	_, err = c.approveAndWithdraw(ctx, caller, answer)
	return err
}

// observe prints a line from time to time until ctx ends, and judges the server's memory.
func (o SoakOptions) observe(ctx context.Context, done *atomic.Int64) error {
	fmt.Fprintln(o.Out, "     time   calls/s  server's memory")
	begin, before, early, last := time.Now(), int64(0), 0, 0
	tick := time.NewTicker(o.Report)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			if early > 0 && float64(last) > mayGrow*float64(early) {
				return fmt.Errorf("the server's memory grew from %d kB after a quarter of the time to %d kB", early, last)
			}
			return nil
		case <-tick.C:
		}
		kB, err := residentKB(o.ServerPid)
		if err != nil {
			return err
		}
		since, now := time.Since(begin), done.Load()
		if last = kB; early == 0 && since >= o.Span/4 {
			early = kB
		}
		fmt.Fprintf(o.Out, "%9v  %8.0f  %d kB\n", since.Round(time.Second), float64(now-before)/o.Report.Seconds(), kB)
		before = now
	}
}

// residentKB is the memory that a process holds, in kB of 1024 bytes, as the kernel counts it.
func residentKB(pid int) (int, error) {
	text, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/status")
	if err != nil {
		return 0, fmt.Errorf("the server's memory: %w", err)
	}
	for line := range strings.Lines(string(text)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			return strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")))
		}
	}
	return 0, fmt.Errorf("the server's memory: process %d has none", pid)
}
