package rpc

import (
	"context"

	"google.golang.org/grpc"

	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// authorisedByMethod refuses a method that is not in the table, before anything else is done for it. The server does not start
// with one; this is the second lock on the same door.
func (c Chain) authorisedByMethod(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	if _, ok := access.Lookup(info.FullMethod); !ok {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_LISTED", Message: "nobody may do this"}
	}
	return handler(ctx, request)
}

// openStreamsOnly lets streams through for methods open to all, which say nothing of records. The club's own methods have none: a
// stream would pass none of the checks above.
func (c Chain) openStreamsOnly(server any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) (err error) {
	if m, ok := access.Lookup(info.FullMethod); !ok || !m.Open {
		return ToStatus(stream.Context(), c.Log, &fault.Error{Kind: fault.Denied, Reason: "NOT_LISTED", Message: "nobody may do this"})
	}
	defer func() {
		if p := recover(); p != nil {
			err = ToStatus(stream.Context(), c.Log, panicked(p))
		}
	}()
	return handler(server, stream)
}
