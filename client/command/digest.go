package command

import (
	"context"
	"strconv"

	"github.com/spf13/cobra"

	"lastlight/client/screen"
	pb "lastlight/proto/lastlight/v1"
)

func (a *app) digest() *cobra.Command {
	c := pb.NewDueServiceClient
	return a.noun("digest", "What of yours falls due, by mail",
		call(a, verb{use: "show", short: "What you have asked for", example: "  lastlight digest show"},
			c, pb.DueServiceClient.GetDigest, nil, screen.View.Digest),
		call(a, verb{
			use: "set ADDRESS", short: "Ask for a letter each day or week", args: []string{"address"}, example: "  lastlight digest set ane@example.org --every week",
			long: "A letter is sent where something stops diving or falls due, and names nothing of\nhealth. The text is made when it is sent.",
		}, c, pb.DueServiceClient.SetDigest, nil, screen.View.Digest),
		call(a, verb{use: "end", short: "No more letters", example: "  lastlight digest end", skip: []string{"address", "every"}},
			c, pb.DueServiceClient.SetDigest, func(_ context.Context, _ *cobra.Command, _ *pb.SetDigestRequest) error { return nil }, screen.View.Digest),
		list(a, verb{use: "letters", short: "Letters queued, sent and given up, without addresses", example: "  lastlight digest letters --state given_up"},
			c, pb.DueServiceClient.ListLetters,
			col("queued at", func(w screen.View, l *pb.Letter) string { return w.Time(l.GetQueuedAt(), "") }),
			plain("for", (*pb.Letter).GetPeriod), plain("person", (*pb.Letter).GetPerson), plain("state", (*pb.Letter).GetState),
			plain("tries", func(l *pb.Letter) string { return strconv.Itoa(int(l.GetTries())) }),
			col("next try", func(w screen.View, l *pb.Letter) string { return w.Time(l.GetNextTryAt(), "") }),
			words("why", (*pb.Letter).GetWhy),
		),
	)
}
