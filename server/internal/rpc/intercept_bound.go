package rpc

import (
	"context"
	"sync/atomic"

	"google.golang.org/grpc"

	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// bounded lets AtOnce calls work and Waiting more wait, until their deadlines. Methods open to all pass: a monitor must hear from
// a busy server.
func (c Chain) bounded() grpc.UnaryServerInterceptor {
	work := make(chan struct{}, c.AtOnce)
	var waiting atomic.Int64
	return func(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		if m, ok := access.Lookup(info.FullMethod); ok && m.Open {
			return handler(ctx, request)
		}
		select {
		case work <- struct{}{}:
		default:
			if waiting.Add(1) > int64(c.Waiting) {
				waiting.Add(-1)
				return nil, &fault.Error{Kind: fault.TooLarge, Reason: "OVERLOADED", Message: "too many calls at once: nothing was done, ask again in a moment"}
			}
			select {
			case work <- struct{}{}:
				waiting.Add(-1)
			case <-ctx.Done():
				waiting.Add(-1)
				return nil, (&fault.Error{Kind: fault.DeadlineExceeded, Reason: "OVERLOADED", Message: "time ran out while other calls were at work: nothing was done, ask again"}).Because(ctx.Err())
			}
		}
		defer func() { <-work }()
		return handler(ctx, request)
	}
}
