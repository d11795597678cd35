package app

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"
)

func (p *program) tlsCommand() *cobra.Command {
	var dir string
	var names []string
	var days int
	c := &cobra.Command{
		Use: "tls", Short: "Make the club's own certificate authority and the server's certificate", Args: cobra.NoArgs,
		Long: `Make the club's own certificate authority and the server's certificate, for a club that has none.

Into the directory go ca.pem (give it to every client: it is what they trust), ca.key (keep it apart and secret),
server.pem and server.key. An authority that is there already is kept and makes a new server certificate, so
that clients need nothing new when the old one ends.`,
		Example: "  lastlightd tls --dir /etc/lastlight/tls --name dive.example.org --name 192.0.2.7",
		RunE: func(*cobra.Command, []string) error {
			if days < 1 || days > longestCertificate {
				return wrongUse{fmt.Errorf("--days %d: 1 to %d are expected", days, longestCertificate)}
			}
			until, err := MakeCertificates(dir, names, p.now(), time.Duration(days)*24*time.Hour)
			if err != nil {
				return err
			}
			fmt.Fprintf(p.out, "%s holds ca.pem, ca.key, server.pem, server.key; the server's certificate ends %s\n", dir, until.Format(time.DateOnly))
			return nil
		},
	}
	c.Flags().StringVar(&dir, "dir", "tls", "directory for the files, made if not there")
	c.Flags().StringSliceVar(&names, "name", nil, "host name or address by which clients reach the server, besides localhost and 127.0.0.1")
	c.Flags().IntVar(&days, "days", 397, fmt.Sprintf("days until the server's certificate ends, 1 to %d", longestCertificate))
	return c
}
