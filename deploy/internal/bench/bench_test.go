package bench

import (
	"context"
	"errors"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"lastlight/deploy/postgres"
)

func TestFloorDoesWhatItSays(t *testing.T) {
	t.Parallel()
	server, err := postgres.Start(t.Context(), postgres.Options{Throwaway: true})
	if err != nil {
		t.Fatal(err)
	}
	defer server.Stop()
	f, err := newFloor(t.Context(), server.URL("postgres"), 4, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer f.pool.Close()
	if _, err := exhaust(t.Context(), 4, 10, f.transaction); err != nil {
		t.Fatal(err)
	}
	var changed, inserted int
	err = f.pool.QueryRow(t.Context(), "SELECT (SELECT count(*) FROM bench.root WHERE version = 11), (SELECT count(*) FROM bench.child)").Scan(&changed, &inserted)
	if err != nil || changed != 4 || inserted != 120 {
		t.Errorf("%d rows of 4 changed ten times, %d of 120 inserted; %v", changed, inserted, err)
	}
}

func TestRates(t *testing.T) {
	t.Parallel()
	const each = 2 * time.Millisecond
	op := func(context.Context, int, int) error { time.Sleep(each); return nil }
	for name, measure := range map[string]func() (rate, error){
		"sustain": func() (rate, error) {
			return sustain(t.Context(), 3, 10*time.Millisecond, 200*time.Millisecond, op)
		},
		"exhaust": func() (rate, error) { return exhaust(t.Context(), 3, 50, op) },
	} {
		r, err := measure()
		if err != nil {
			t.Fatal(err)
		}
		// A call never takes less than it sleeps, but for the one that had begun before the warming up ended.
		if limit := 1.1 * 3 / each.Seconds(); r.perSecond > limit || r.mean < each*9/10 {
			t.Errorf("%s: %.0f calls/s, mean %v: three callers that sleep %v make %.0f at most", name, r.perSecond, r.mean, each, limit)
		}
	}
	if got := meanRate([]time.Duration{time.Second, time.Second}, 10); got.perSecond != 20 || got.mean != 100*time.Millisecond || got.calls != 20 {
		t.Errorf("two callers, ten calls in a second each: %+v", got)
	}
}

func TestAnErrorEndsAllCallers(t *testing.T) {
	t.Parallel()
	broken := errors.New("broken")
	var after atomic.Int64
	_, err := sustain(t.Context(), 4, 0, time.Minute, func(ctx context.Context, caller, n int) error {
		if caller == 2 && n == 5 {
			return broken
		}
		if ctx.Err() != nil {
			after.Add(1)
			return ctx.Err()
		}
		return nil
	})
	if !errors.Is(err, broken) {
		t.Errorf("%v is not what broke", err)
	}
	if n := after.Load(); n > 3 {
		t.Errorf("%d calls after the end", n)
	}
}

func TestTable(t *testing.T) {
	t.Parallel()
	table := &table{callers: []int{1}, rates: map[string][]rate{}, floors: map[string]string{}}
	table.add(writeFloor, "", rate{1000, time.Millisecond, 10})
	table.add(recordReading, writeFloor, rate{640, 1562500 * time.Nanosecond, 10})
	var out strings.Builder
	if err := table.print(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"calls/s at 1", "record a reading   640  1.563ms         64 %"} {
		if !strings.Contains(strings.Join(strings.Fields(out.String()), " "), strings.Join(strings.Fields(want), " ")) {
			t.Errorf("missing %q in\n%s", want, &out)
		}
	}
}

func TestResidentMemory(t *testing.T) {
	t.Parallel()
	kB, err := residentKB(os.Getpid())
	if err != nil || kB < 1000 || kB > 4<<20 {
		t.Errorf("this test holds %d kB, %v", kB, err)
	}
	if _, err := residentKB(1 << 30); err == nil {
		t.Error("a process that cannot exist holds memory")
	}
}

func TestSoakWatchesMemory(t *testing.T) {
	t.Parallel()
	var done atomic.Int64
	var out strings.Builder
	o := SoakOptions{ServerPid: os.Getpid(), Span: 40 * time.Millisecond, Report: 10 * time.Millisecond, Out: &out}
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Millisecond)
	defer cancel()
	if err := o.observe(ctx, &done); err != nil {
		t.Error(err)
	}
	if !strings.Contains(out.String(), " kB\n") {
		t.Errorf("no line was printed: %s", &out)
	}
}
