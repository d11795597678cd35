package command

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

var surroundings = []string{"surroundings.water_density", "surroundings.altitude_m", "surroundings.barometer_bar"}

func (a *app) gas() *cobra.Command {
	c := pb.NewGasServiceClient
	return a.noun("gas", "Sums about gas: depths of a mix, best mix, contents",
		call(a, verb{
			use: "check MIX", short: "Where a mix may be breathed, and how it is at a depth", args: []string{"gas"}, flags: surroundings,
			long:    "Ends with 1 where a depth is given at which the mix is refused.",
			example: "  lastlight gas check 18/45 --depth-m 55\n  lastlight gas check 32 --altitude-m 800 --oxygen-limit-bar 1.3\n  lastlight gas check 50 --depth-m 21 --at-rest",
		}, c, pb.GasServiceClient.CheckMix, oneSurface, screen.View.MixCheck),
		a.best(),
		call(a, verb{
			use: "switch FROM TO", short: "Counterdiffusion at a change of gas", args: []string{"from", "to"}, example: "  lastlight gas switch 18/45 50",
		}, c, pb.GasServiceClient.CheckGasSwitch, nil, screen.View.GasSwitch),
		call(a, verb{
			use: "contents", short: "What a cylinder holds, by the real gas",
			example: "  lastlight gas contents --water-volume 12L --pressure 232bar --gas air\n" +
				"  lastlight gas contents --water-volume 80ft3 --working-pressure 3000psi --pressure 2700psi --gas 32",
		}, c, pb.GasServiceClient.GetContents, nil, screen.View.Contents),
		call(a, verb{
			use: "cool PRESSURE MIX", short: "What a closed cylinder shows at another temperature", args: []string{"pressure", "gas"},
			example: "  lastlight gas cool 232bar air --from-c 40 --to-c 12",
		}, c, pb.GasServiceClient.GetSettledPressure, nil, screen.View.Settled),
	)
}

func (a *app) best() *cobra.Command {
	hand := &textList{kind: "gas"}
	cmd := call(a, verb{
		use: "best DEPTH", short: "The mix for a depth: most oxygen, least helium within limits", args: []string{"depth_m"}, flags: surroundings,
		long:    "Whole per cents go to the safe side. Ends with 1 where no mix keeps to the limits.",
		example: "  lastlight gas best 55 --narcotic-limit-m 30\n  lastlight gas best 45 --density-limit 6.2 --at-hand 21/35 --at-hand 18/45",
	}, pb.NewGasServiceClient, pb.GasServiceClient.GetBestMix, func(ctx context.Context, cmd *cobra.Command, r *pb.GetBestMixRequest) error {
		for _, text := range hand.values {
			m, err := units.ParseMix(text)
			if err != nil {
				return usage(cmd, fmt.Errorf("--at-hand: %w", err))
			}
			r.AtHand = append(r.AtHand, m)
		}
		return oneSurface(ctx, cmd, r)
	}, screen.View.BestMix)
	cmd.Flags().Var(hand, "at-hand", "a mix at hand, 21/35; repeat the flag for more")
	return cmd
}

// oneSurface refuses two answers to one question.
func oneSurface[R message](_ context.Context, cmd *cobra.Command, _ R) error {
	if cmd.Flags().Changed("altitude-m") && cmd.Flags().Changed("barometer-bar") {
		return usage(cmd, errors.New("--altitude-m and --barometer-bar: give one of them"))
	}
	return nil
}

// fillStation are the verbs of the noun fill that plan fills instead of recording them.
func (a *app) fillStation() []*cobra.Command {
	blend := call(a, verb{
		use: "blend MIX PRESSURE", short: "How to make a mix out of what is in the cylinder", args: []string{"gas", "pressure"},
		long: "Pressures by the real gas, grams for a scale, and the mix after each step.\n" +
			"Ends with 1 where it cannot be made, or the cylinder is not clean for oxygen.",
		example: "  lastlight fill blend 18/45 220bar --water-volume 12L --working-pressure 232bar \\\n    --present-pressure 60bar --present-gas 18/45 --oxygen-clean clean",
	}, pb.NewGasServiceClient, pb.GasServiceClient.GetBlendSheet, nil, screen.View.BlendSheet)

	bank := &bottleList{app: a}
	cascade := call(a, verb{
		use: "cascade PRESSURE", short: "In which order to open a bank's bottles", args: []string{"pressure"},
		example: "  lastlight fill cascade 220bar --water-volume 12L --working-pressure 232bar \\\n    --present-pressure 50bar --bank 2x50L@200bar --bank 50L@280bar",
	}, pb.NewGasServiceClient, pb.GasServiceClient.GetCascade, func(_ context.Context, cmd *cobra.Command, r *pb.GetCascadeRequest) error {
		return bank.into(cmd, "bank", &r.Bank)
	}, screen.View.Cascade)
	bank.flag(cascade, "bank", "bottles of the bank")

	dayBank, oxygen, helium := &bottleList{app: a}, &bottleList{app: a}, &bottleList{app: a}
	present := &textList{kind: "cylinder"}
	plan := call(a, verb{
		use: "plan EXPEDITION FROM [TO]", short: "Gas budget of an expedition's days", args: []string{"expedition", "from_day", "to_day?"}, file: true,
		long: "What the plans of these days ask of compressor, bank and stock, and which\ncylinders fall out of test meanwhile. For blenders and coordinators.",
		example: "  lastlight fill plan june-2026 2026-06-01 2026-06-07 --compressor 250L/min \\\n    --compressor-hours 8 --used-percent 60 --oxygen-stock 50L@150bar \\\n" +
			"    --helium-stock 2x50L@180bar --present c-12-1=80bar@32",
	}, pb.NewGasServiceClient, pb.GasServiceClient.GetFillPlan, func(_ context.Context, cmd *cobra.Command, r *pb.GetFillPlanRequest) error {
		for _, l := range []struct {
			name string
			list *bottleList
			into *[]*pb.GasBottle
		}{{"bank", dayBank, &r.Bank}, {"oxygen-stock", oxygen, &r.OxygenStock}, {"helium-stock", helium, &r.HeliumStock}} {
			if err := l.list.into(cmd, l.name, l.into); err != nil {
				return err
			}
		}
		for _, text := range present.values {
			now, err := a.cylinderNow(text)
			if err != nil {
				return usage(cmd, fmt.Errorf("--present: %w", err))
			}
			r.Present = append(r.Present, now)
		}
		return nil
	}, screen.View.FillPlan)
	dayBank.flag(plan, "bank", "bottles of the bank")
	oxygen.flag(plan, "oxygen-stock", "bottles of oxygen")
	helium.flag(plan, "helium-stock", "bottles of helium")
	plan.Flags().Var(present, "present", "what is in a cylinder, CYLINDER=80bar@32; repeat the flag for more")
	return []*cobra.Command{blend, cascade, plan}
}

// bottleList are storage bottles given as flags.
type bottleList struct {
	app *app
	textList
}

func (l *bottleList) flag(cmd *cobra.Command, name, what string) {
	l.kind = "bottle"
	cmd.Flags().Var(&l.textList, name, what+": 50L@200bar, 4x50L@200bar; repeat the flag for more")
}

// into reads what was given into a request's list, which it replaces.
func (l *bottleList) into(cmd *cobra.Command, name string, list *[]*pb.GasBottle) error {
	if len(l.values) > 0 {
		*list = nil
	}
	for _, text := range l.values {
		b, err := l.app.bottle(text)
		if err != nil {
			return usage(cmd, fmt.Errorf("--%s: %w", name, err))
		}
		*list = append(*list, b)
	}
	return nil
}

func (a *app) bottle(text string) (*pb.GasBottle, error) {
	size, pressure, ok := strings.Cut(text, "@")
	b := &pb.GasBottle{}
	if number, each, several := strings.Cut(size, "x"); several {
		n, err := strconv.ParseInt(strings.TrimSpace(number), 10, 32)
		if err != nil || n < 1 {
			return nil, fmt.Errorf("read %q, expected how many, as in 4x50L@200bar", text)
		}
		b.Count, size = int32(n), each
	}
	if !ok {
		return nil, fmt.Errorf("read %q, expected size and pressure, as in 50L@200bar", text)
	}
	var err error
	// Storage bottles are told by their litres of water, whatever the setting.
	if b.WaterVolume, err = units.Metric.ParseWater(size); err == nil {
		b.Pressure, err = units.System(a.settings.Units).ParsePressure(pressure)
	}
	return b, err
}

func (a *app) cylinderNow(text string) (*pb.CylinderNow, error) {
	id, rest, ok := strings.Cut(text, "=")
	pressure, mix, ok2 := strings.Cut(rest, "@")
	if !ok || !ok2 {
		return nil, fmt.Errorf("read %q, expected CYLINDER=PRESSURE@MIX, as in c-12-1=80bar@32", text)
	}
	now := &pb.CylinderNow{Cylinder: id}
	var err error
	if now.Pressure, err = units.System(a.settings.Units).ParsePressure(pressure); err == nil {
		now.Gas, err = units.ParseMix(mix)
	}
	return now, err
}
