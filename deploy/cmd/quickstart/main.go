// Command quickstart starts everything, plays the tour, and ends everything again. See deploy/quickstart.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"lastlight/deploy/internal/quickstart"
)

func main() {
	var o quickstart.Options
	flag.StringVar(&o.Bin, "bin", "bin", "directory with lastlightd and lastlight")
	flag.StringVar(&o.Demo, "demo", "testdata/demo", "directory with the tour and its files")
	flag.BoolVar(&o.Stay, "stay", false, "leave everything running until Ctrl-C")
	flag.Parse()
	o.DatabaseURL, o.Out = os.Getenv("LASTLIGHT_DATABASE_URL"), os.Stdout

	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	err := quickstart.Run(ctx, o)
	switch {
	case err == nil:
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(os.Stderr, "quickstart: interrupted:", err)
		os.Exit(130)
	default:
		fmt.Fprintln(os.Stderr, "quickstart:", err)
		os.Exit(1)
	}
}
