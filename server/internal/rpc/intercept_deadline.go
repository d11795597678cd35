package rpc

import (
	"context"
	"time"

	"google.golang.org/grpc"

	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// inTime refuses a call that would wait for ever, and shortens one that would wait too long: what nobody waits for any more must
// not go on working. Methods open to all, which probes call, are only shortened.
func (c Chain) inTime(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if m, ok := access.Lookup(info.FullMethod); !ok || !m.Open {
		if _, set := ctx.Deadline(); !set {
			return nil, &fault.Error{
				Kind: fault.Invalid, Reason: "NO_DEADLINE",
				Message: "the call has no deadline: set one, " + c.Longest.Truncate(time.Second).String() + " at most",
			}
		}
	}
	ctx, cancel := context.WithTimeout(ctx, c.Longest)
	defer cancel()
	return handler(ctx, request)
}
