// Command bench measures the server on this machine against the floor below it. See deploy/bench and deploy/soak.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"lastlight/deploy/internal/bench"
	"lastlight/deploy/internal/quickstart"
)

func main() {
	q := quickstart.Options{DatabaseURL: os.Getenv("LASTLIGHT_DATABASE_URL"), Out: os.Stderr}
	o := bench.Options{Callers: []int{1, 16}, Out: os.Stdout}
	flag.StringVar(&q.Bin, "bin", "bin", "directory with lastlightd and lastlight")
	flag.StringVar(&q.Demo, "demo", "testdata/demo", "directory with the tour and its files")
	flag.DurationVar(&o.Span, "span", 5*time.Second, "time of each measurement")
	flag.IntVar(&o.Plans, "plans", 20, "plans that each caller submits and approves")
	soak := flag.Duration("soak", 0, "keep the server busy for this long instead, and watch its memory")
	alone := flag.Bool("engine", false, "measure the engine alone instead, without a server")
	dives := flag.Int("club", 0, "measure a club with so many dives instead, against one with 10,000")
	rounds := flag.Int("rounds", 60, "with -club: how often each question is asked")
	flag.Parse()
	// The callers' own garbage is not what is measured: a program that lists once does not live to collect it.
	defer runtime.KeepAlive(make([]byte, 128<<20))
	if *alone {
		if err := bench.Engine(os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(1)
		}
		return
	}

	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	q.Then = func(ctx context.Context, s quickstart.Session) error {
		if *soak > 0 {
			return bench.Soak(ctx, bench.SoakOptions{
				Address: s.Address, CAFile: s.CAFile, CommitteeToken: s.CommitteeToken, ServerPid: s.ServerPid,
				Callers: 8, Span: *soak, Report: max(*soak/60, time.Second), Out: os.Stdout,
			})
		}
		if *dives > 0 {
			return bench.Club(ctx, bench.ClubOptions{
				Address: s.Address, CAFile: s.CAFile, CommitteeToken: s.CommitteeToken, Database: s.Database,
				Dives: *dives, Rounds: *rounds, Out: os.Stdout, Progress: os.Stderr,
			})
		}
		o.Address, o.CAFile, o.CommitteeToken, o.Database = s.Address, s.CAFile, s.CommitteeToken, s.Database
		return bench.Run(ctx, o)
	}
	if err := quickstart.Run(ctx, q); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}
