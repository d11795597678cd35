package rpc

import (
	"context"
	"log/slog"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"

	"lastlight/server/internal/access"
	"lastlight/server/internal/store"
)

// Chain is what every call passes before its handler, and its limits. All fields are needed.
type Chain struct {
	Log     *slog.Logger // made with LogHandler, so that its lines carry the call
	Now     func() time.Time
	Callers Callers
	Reads   Reads
	Valid   protovalidate.Validator
	Longest time.Duration // no call works longer than this
	AtOnce  int           // calls at work at the same time
	Waiting int           // calls that wait for one of those to end; more are turned away
}

// Callers finds who calls, by the hash of the secret sent. It answers an Unauthenticated fault for a secret that is not known, or
// whose token is expired or revoked at that moment. ahead, if not nil, is read in the same round trip.
type Callers interface {
	CallerOf(ctx context.Context, secret access.Secret, ahead *store.DivePage) (*access.Caller, error)
}

// ServerOptions gives the interceptors, outermost first: whatever happens is logged; what fails is translated once; a panic is a
// failure; then the limits, then who calls, then whether they may, then what they sent, and last who was shown what.
func (c Chain) ServerOptions() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(
			c.logged,
			c.translated,
			c.recovered,
			c.authorisedByMethod,
			c.inTime,
			c.bounded(),
			c.authenticated,
			c.validated,
			c.readsNoted,
		),
		grpc.ChainStreamInterceptor(c.openStreamsOnly),
	}
}
