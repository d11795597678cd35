package command

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) person() *cobra.Command {
	c := pb.NewRosterServiceClient
	away := func(use, short, example string, unavailable bool) *cobra.Command {
		return call(a, verb{use: use, short: short, args: []string{"person"}, skip: []string{"unavailable"}, example: example},
			c, pb.RosterServiceClient.SetAvailability, func(_ context.Context, _ *cobra.Command, r *pb.SetAvailabilityRequest) error {
				r.Unavailable = unavailable
				if r.GetToDay() == "" {
					r.ToDay = r.GetFromDay()
				}
				return nil
			}, done[*pb.Person]("Noted; no reason is asked or stored."))
	}
	return a.noun("person", "Divers and everybody else who holds a role",
		list(a, verb{use: "list", short: "List people", example: "  lastlight person list --search ane --expedition june-2026"}, c, pb.RosterServiceClient.ListPeople,
			plain("id", (*pb.Person).GetId), words("name", (*pb.Person).GetFullName), plain("short", (*pb.Person).GetShortName),
			words("cards", func(p *pb.Person) string { return join(cardWords(p)) }),
			col("consumption", func(w screen.View, p *pb.Person) string { return w.Units.SurfaceRate(p.GetConsumption()) }),
			plain("guest", func(p *pb.Person) string { return yes(p.GetGuest()) }),
		),
		call(a, verb{use: "show PERSON", short: "Show a person, as far as you may see", args: []string{"id"}, example: "  lastlight person show ane"},
			c, pb.RosterServiceClient.GetPerson, nil, detail),
		call(a, verb{
			use: "create [PERSON]", short: "Enter a person", args: []string{"person.id?"}, block: "person", file: true,
			example: "  lastlight person create ane --full-name \"Ane Holm\" --short-name Ane --birth-day 1990-04-02 --consumption 18L/min",
		}, c, pb.RosterServiceClient.CreatePerson, nil, done[*pb.Person]("Entered.")),
		update(a, verb{
			use: "update PERSON", short: "Change fields of a person", args: []string{"person.id"}, block: "person", file: true,
			long: "Above 300 m a plan asks when each diver arrived at the altitude of the site.\n" +
				"From a file:  arrivals: [{site: high-tarn, arrived_at: '2026-06-08T07:10:00Z'}]",
			example: "  lastlight person update ane --consumption 20L/min",
		}, c, pb.RosterServiceClient.UpdatePerson, func(id string) *pb.GetPersonRequest { return &pb.GetPersonRequest{Id: id} }, pb.RosterServiceClient.GetPerson),
		call(a, verb{use: "archive PERSON", short: "Take a person out of use; the history stays", args: []string{"id"}, example: "  lastlight person archive ane"},
			c, pb.RosterServiceClient.ArchivePerson, nil, done[*pb.Person]("Archived.")),
		call(a, verb{
			use: "medical PERSON", short: "Record the medical status: days only, never its content", args: []string{"person"}, block: "medical", file: true,
			example: "  lastlight person medical ane --examined-day 2026-02-10 --declared-day 2026-05-01",
		}, c, pb.RosterServiceClient.SetMedicalStatus, nil, done[*pb.Person]("Recorded.")),
		call(a, verb{
			use: "currency [PERSON]", short: "What recorded dives make of the cards on a day, past or future", args: []string{"person?"},
			long:    "Counts recorded dives at the level, per endorsement, site and depth; names\nthe dives counted and the day on which each figure changes.",
			example: "  lastlight person currency ane --day 2026-09-01 --site hollow-spring",
		}, c, pb.RosterServiceClient.GetCurrency, nil, screen.View.Currency),
		call(a, verb{
			use: "consumption [PERSON]", short: "How much gas recorded dives say a person breathes", args: []string{"person?"},
			long: "Median and worst tenth for each way of moving, from pressures, profile and\n" +
				"temperature; names every dive that counts and why another does not.",
			example: "  lastlight person consumption ane --day 2026-09-01",
		}, c, pb.RosterServiceClient.GetConsumption, nil, screen.View.Consumption),
		a.reads(),
		a.myData(),
		a.erase(),
		a.erasures(),
		away("away PERSON", "Not diving on these days; no reason asked", "  lastlight person away ane --from-day 2026-06-03", true),
		away("back PERSON", "Available again on these days", "  lastlight person back ane --from-day 2026-06-03 --to-day 2026-06-04", false),
	)
}

func cardWords(p *pb.Person) []string {
	var out []string
	for _, c := range p.GetCards() {
		word := strings.TrimSpace(c.GetLevel() + c.GetEndorsement())
		switch {
		case c.GetRevokedAt() != nil:
			word += " (revoked)"
		case c.GetSeenAt() == nil:
			word += " (not seen)"
		}
		out = append(out, word)
	}
	return out
}

func (a *app) reads() *cobra.Command {
	return list(a, verb{
		use: "reads [PERSON]", short: "Who was shown health, contacts or place; yours if nobody is named", args: []string{"person?"},
		long:    "Who, when, which fields; never what they said. --site asks of a site's exact\nplace. Yours and your ward's; of others for the committee and safety officer.",
		example: "  lastlight person reads",
	}, pb.NewPrivacyServiceClient, pb.PrivacyServiceClient.ListReads,
		col("at", func(w screen.View, r *pb.DataRead) string { return w.Time(r.GetAt(), "") }),
		plain("who", (*pb.DataRead).GetWho), plain("fields", (*pb.DataRead).GetFields),
		words("of", func(r *pb.DataRead) string { return r.GetPerson() + r.GetSite() }), plain("asked", (*pb.DataRead).GetAsked),
	)
}

// myData puts the parts together: one JSON document, whatever the form asked for, because it is kept and not read on a screen.
func (a *app) myData() *cobra.Command {
	return &cobra.Command{
		Use: "my-data", Short: "Everything on record about you, as one JSON file", Args: arity(0, 0),
		Long:    "Your own record with what is restricted, roles, devices, dives, plans and what\nwas decided about them, incidents, gear, expeditions, mail, requests to erase,\nwho was shown what of yours. Of others only who they are.",
		Example: "  lastlight person my-data > my-data.json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !cmd.Flags().Changed("timeout") {
				a.timeout = filesTimeout
			}
			conn, err := a.dial()
			if err != nil {
				return err
			}
			all, req := &pb.MyData{}, &pb.GetMyDataRequest{}
			for {
				part, err := pb.NewPrivacyServiceClient(conn).GetMyData(cmd.Context(), req)
				if err != nil {
					return err
				}
				req.PageToken, part.NextPageToken = part.GetNextPageToken(), ""
				proto.Merge(all, part)
				if req.GetPageToken() == "" {
					break
				}
			}
			text, err := screen.JSON(all)
			if err != nil {
				return err
			}
			_, err = a.Out.Write(text)
			return err
		},
	}
}
