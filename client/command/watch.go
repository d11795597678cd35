package command

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"lastlight/client/screen"
	"lastlight/client/units"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) watch() *cobra.Command {
	c := pb.NewDiveServiceClient
	return a.noun("watch", "The register at the water: in, seen out, signed out",
		a.signIn(),
		call(a, verb{
			use: "seen-out DIVE PERSON", short: "Cover saw this diver out of the water", args: []string{"dive", "person"}, example: "  lastlight watch seen-out d-41 ane --station east-pool",
		}, c, pb.DiveServiceClient.SeenOut, nil, screen.View.Watch),
		call(a, verb{
			use: "sign-out DIVE [PERSON]", short: "A diver signs out; symptoms are answered yes or no", args: []string{"dive", "person?"},
			example: "  lastlight watch sign-out d-41 ane --end-pressure 110bar --symptoms=false",
		}, c, pb.DiveServiceClient.SignOut, func(_ context.Context, cmd *cobra.Command, r *pb.SignOutRequest) error {
			if r.Symptoms == nil {
				return usage(cmd, fmt.Errorf("--symptoms=true or --symptoms=false must be answered"))
			}
			return nil
		}, screen.View.Watch),
		call(a, verb{
			use: "correct DIVE PERSON", short: "Correct a wrong in, seen-out or sign-out with a new fact", args: []string{"dive", "person"},
			long:    "Without --at: it did not happen.",
			example: "  lastlight watch correct d-41 ane --what seen_out --reason \"it was Rolf\"",
		}, c, pb.DiveServiceClient.CorrectWatch, nil, screen.View.Watch),
		call(a, verb{
			use: "close DIVE", short: "Close the dive: what was done, left behind and met", args: []string{"dive.id"}, block: "dive", file: true,
			long:    "Starts from what the register knows; flags add to it. With -f the file is the whole record.",
			example: "  lastlight watch close d-41 --max-depth-m 16 --zone cave --flow-met low\n  lastlight watch close d-41 -f dive.yaml",
		}, c, pb.DiveServiceClient.CloseDive, a.fromRegister, done[*pb.Dive]("Closed.")),
	)
}

// fromRegister puts what was given on top of what the register knows of the dive.
func (a *app) fromRegister(ctx context.Context, cmd *cobra.Command, r *pb.CloseDiveRequest) error {
	if cmd.Flags().Changed("file") {
		return nil
	}
	conn, err := a.dial()
	if err != nil {
		return err
	}
	known, err := pb.NewDiveServiceClient(conn).GetDive(ctx, &pb.GetDiveRequest{Id: r.GetDive().GetId()})
	if err != nil {
		return err
	}
	proto.Merge(known, r.GetDive())
	r.Dive = known
	return nil
}

// signIn takes what was measured as PERSON=PRESSURE and PERSON:CYLINDER=PRESSURE.
func (a *app) signIn() *cobra.Command {
	var measured, stages []string
	var temperature string
	check := false
	var asked string
	var cmd *cobra.Command
	cmd = call(a, verb{
		use: "sign-in PLAN", short: "Enter an approved plan with the pressures read at the water", args: []string{"plan"},
		long:    "Evaluates again. Inside the approved dive it goes, with new turn pressures; else it says what changed and who must approve, and ends with 1.",
		example: "  lastlight watch sign-in loop-1 --version 3 --measured ane=195bar --measured rolf=200bar --stage ane:s-40-1=180bar",
		skip:    []string{"check_only"}, own: map[string]string{"measured.cylinders": "stage", "measured.temperature_c": "temperature-c"},
	}, pb.NewDiveServiceClient, pb.DiveServiceClient.SignIn, func(_ context.Context, cmd *cobra.Command, r *pb.SignInRequest) error {
		r.CheckOnly, asked = check, r.GetPlan()
		by := map[string]*pb.Measured{}
		system := units.System(a.settings.Units)
		for _, m := range measured {
			person, text, ok := strings.Cut(m, "=")
			p, err := system.ParsePressure(text)
			if !ok || person == "" || err != nil || by[person] != nil {
				return usage(cmd, fmt.Errorf("--measured %q: PERSON=PRESSURE is expected, once for each diver", m))
			}
			by[person] = &pb.Measured{Person: person, StartPressure: p}
			r.Measured = append(r.Measured, by[person])
		}
		for _, s := range stages {
			where, text, ok := strings.Cut(s, "=")
			person, cylinder, named := strings.Cut(where, ":")
			p, err := system.ParsePressure(text)
			if !ok || !named || cylinder == "" || err != nil || by[person] == nil {
				return usage(cmd, fmt.Errorf("--stage %q: PERSON:CYLINDER=PRESSURE is expected, of a diver given with --measured", s))
			}
			by[person].Cylinders = append(by[person].Cylinders, &pb.MeasuredCylinder{Cylinder: cylinder, Pressure: p})
		}
		if temperature != "" {
			for _, m := range r.GetMeasured() {
				fd := m.ProtoReflect().Descriptor().Fields().ByName("temperature_c")
				if err := a.set(m, "temperature_c", fd, temperature); err != nil {
					return usage(cmd, fmt.Errorf("--temperature-c: %w", err))
				}
			}
		}
		return nil
	}, func(w screen.View, r *pb.SignInResponse) error {
		site := ""
		if !r.GetGo() {
			site = a.planSite(cmd.Context(), asked)
		}
		return w.SignIn(r, check, site)
	})
	cmd.Flags().StringArrayVar(&measured, "measured", nil, "PERSON=PRESSURE of the mains, for each diver")
	cmd.Flags().StringArrayVar(&stages, "stage", nil, "PERSON:CYLINDER=PRESSURE of each stage or deco cylinder")
	cmd.Flags().StringVar(&temperature, "temperature-c", "", "°C of the gas when the pressures were read")
	cmd.Flags().BoolVar(&check, "check", false, "only say what would happen")
	return cmd
}

func (a *app) board() *cobra.Command {
	return call(a, verb{
		use: "board", short: "Who is in the water, worst first, and the next step", example: "  lastlight board --site hollow-spring",
	}, pb.NewDiveServiceClient, pb.DiveServiceClient.GetBoard, nil, screen.View.Board)
}
