// Package link connects to the server: TLS pinned to the club's CA, a bearer
// token, a deadline on each call, and retries that cannot do a thing twice.
package link

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	"lastlight/client/exit"
)

// Largest answer taken, bytes: a page of an export with long surveys in it.
const maxAnswer = 32 << 20

// Options say whom to call and how.
type Options struct {
	// HOST:PORT.
	Server string
	// PEM file with the club's CA certificates: the only ones trusted.
	CAFile string
	// Bearer token; never logged.
	Token string
	// Deadline of each call, its retries included.
	Timeout time.Duration
	// Sent as user agent.
	Version string
}

// Dial prepares a connection; the first call opens it.
func Dial(o Options) (*grpc.ClientConn, error) {
	host, _, err := net.SplitHostPort(o.Server)
	if err != nil || host == "" {
		return nil, exit.Errorf(exit.Usage, "server %q: HOST:PORT is expected", o.Server)
	}
	pem, err := os.ReadFile(o.CAFile)
	if err != nil {
		return nil, exit.Errorf(exit.Usage, "the club's CA cannot be read: %w", err)
	}
	roots := x509.NewCertPool()
	if !roots.AppendCertsFromPEM(pem) {
		return nil, exit.Errorf(exit.Usage, "no certificate in %s", o.CAFile)
	}
	return grpc.NewClient("passthrough:///"+o.Server,
		grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{
			RootCAs: roots, ServerName: host, MinVersion: tls.VersionTLS13,
		})),
		grpc.WithPerRPCCredentials(bearer(o.Token)),
		grpc.WithUserAgent("lastlight/"+o.Version),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)),
		// Retries are made here, where it is known which calls may be repeated.
		grpc.WithDisableRetry(),
		grpc.WithChainUnaryInterceptor(deadline(o.Timeout), retry(time.Sleep)),
	)
}

// bearer adds the token to each call, and only ever inside TLS.
type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

func (bearer) RequireTransportSecurity() bool { return true }

func deadline(d time.Duration) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		ctx, cancel := context.WithTimeout(ctx, d)
		defer cancel()
		return invoke(ctx, method, req, reply, cc, opts...)
	}
}
