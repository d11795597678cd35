package command

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"lastlight/client/config"
	"lastlight/client/exit"
	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) role() *cobra.Command {
	c := pb.NewAccessServiceClient
	return a.noun("role", "Who may do what, in the club or an expedition",
		list(a, verb{use: "list", short: "List roles", example: "  lastlight role list --person ane"}, c, pb.AccessServiceClient.ListRoles,
			plain("id", (*pb.RoleGrant).GetId), plain("person", (*pb.RoleGrant).GetPerson), plain("role", (*pb.RoleGrant).GetRole),
			plain("expedition", (*pb.RoleGrant).GetExpedition), plain("of", (*pb.RoleGrant).GetOfPerson), plain("granted by", (*pb.RoleGrant).GetGrantedBy),
			col("revoked", func(w screen.View, r *pb.RoleGrant) string { return w.Time(r.GetRevokedAt(), "") }),
		),
		call(a, verb{
			use: "grant PERSON ROLE", short: "Give a person a role", args: []string{"grant.person", "grant.role"}, block: "grant",
			example: "  lastlight role grant ane coordinator --expedition june-2026",
		}, c, pb.AccessServiceClient.GrantRole, nil, done[*pb.RoleGrant]("Granted.")),
		call(a, verb{use: "revoke ROLE-ID", short: "Take a role back", args: []string{"id"}, example: "  lastlight role revoke 3f0c"},
			c, pb.AccessServiceClient.RevokeRole, nil, done[*pb.RoleGrant]("Revoked.")),
	)
}

func (a *app) token() *cobra.Command {
	c := pb.NewAccessServiceClient
	var file string
	issue := call(a, verb{
		use: "issue PERSON", short: "A token for a person's device; shown once", args: []string{"person"},
		long:    "Prints the token once, or writes it to --secret-file with mode 0600.",
		example: "  lastlight token issue ane --device phone --days 90 --secret-file ane.token",
	}, c, pb.AccessServiceClient.IssueToken, nil, func(w screen.View, t *pb.IssuedToken) error {
		if t.GetSecret() == "" {
			a.note("this request was done before: its token was shown then; issue another if it is lost")
		}
		if file == "" || t.GetSecret() == "" {
			return w.Detail(t)
		}
		if err := config.WriteToken(file, t.GetSecret()); err != nil {
			return err
		}
		return w.Detail(t.GetToken())
	})
	issue.Flags().StringVar(&file, "secret-file", "", "write the token there instead of showing it")
	return a.noun("token", "Tokens of devices",
		list(a, verb{use: "list", short: "List tokens, your own if nobody is named", example: "  lastlight token list --person ane"}, c, pb.AccessServiceClient.ListTokens,
			plain("id", (*pb.Token).GetId), plain("person", (*pb.Token).GetPerson), words("device", (*pb.Token).GetDevice),
			col("expires", func(w screen.View, t *pb.Token) string { return w.Time(t.GetExpiresAt(), "") }),
			col("last used", func(w screen.View, t *pb.Token) string { return w.Time(t.GetLastUsedAt(), "") }),
			col("revoked", func(w screen.View, t *pb.Token) string { return w.Time(t.GetRevokedAt(), "") }),
		),
		issue,
		call(a, verb{
			use: "renew", short: "A new token for this device; the old one ends", example: "  lastlight token renew --days 90",
			long: "Stores the new token in the token file.",
		}, c, pb.AccessServiceClient.RenewToken, nil, func(w screen.View, t *pb.IssuedToken) error {
			if t.GetSecret() == "" {
				return exit.Errorf(exit.Conflict, "this request was done before and its token was given then: log in with a new one")
			}
			if err := config.WriteToken(a.settings.TokenFile, t.GetSecret()); err != nil {
				return err
			}
			t.Secret = "" // It is in the file; it need not be on the screen.
			return w.Detail(t.GetToken())
		}),
		call(a, verb{use: "revoke TOKEN-ID", short: "End a token, as of a lost phone", args: []string{"id"}, example: "  lastlight token revoke 9b1d"},
			c, pb.AccessServiceClient.RevokeToken, nil, done[*pb.Token]("Revoked.")),
	)
}

func (a *app) events() *cobra.Command {
	return list(a, verb{
		use: "events", short: "What was done: who, when, what; append-only", example: "  lastlight events --kind plan --record loop-1",
	}, pb.NewAccessServiceClient, pb.AccessServiceClient.ListEvents,
		col("at", func(w screen.View, e *pb.Event) string { return w.Time(e.GetAt(), "") }),
		plain("who", (*pb.Event).GetWho), plain("what", (*pb.Event).GetWhat), words("record", func(e *pb.Event) string { return strings.TrimSpace(e.GetKind() + " " + e.GetRecord()) }),
	)
}

func (a *app) whoami() *cobra.Command {
	return call(a, verb{use: "whoami", short: "Who the server takes you for, your roles, its versions", example: "  lastlight whoami"},
		pb.NewAccessServiceClient, pb.AccessServiceClient.WhoAmI, nil, func(w screen.View, r *pb.WhoAmIResponse) error {
			if !w.Page {
				return w.Detail(r)
			}
			var roles []string
			for _, g := range r.GetRoles() {
				role := strings.ReplaceAll(g.GetRole(), "_", " ")
				if g.GetExpedition() != "" {
					role += " in " + g.GetExpedition()
				}
				if g.GetOfPerson() != "" {
					role += " of " + g.GetOfPerson()
				}
				roles = append(roles, role)
			}
			if _, err := fmt.Fprintf(w.Out, "%s (%s), %s\n", screen.Clean(r.GetFullName()), r.GetPerson(), screen.Clean(r.GetClub())); err != nil {
				return err
			}
			return w.Fields([][2]string{
				{"roles", join(roles)},
				{"device", r.GetToken().GetDevice()},
				{"token ends", w.Time(r.GetToken().GetExpiresAt(), "")},
				{"club's time zone", r.GetClubTimeZone()},
				{"server", r.GetServerVersion()},
				{"engine", r.GetEngineVersion()},
			})
		})
}
