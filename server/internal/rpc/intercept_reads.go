package rpc

import (
	"context"
	"slices"

	"google.golang.org/grpc"

	"lastlight/server/internal/access"
)

// Reads keeps who was shown which fields of whom.
type Reads interface {
	RecordReads(ctx context.Context, caller, method, call string, shown []access.Reading) error
}

// readsNoted writes down what the answer shows of other people's medical status, contacts and of exact places, before the answer
// leaves: what cannot be written down is not shown. But for whom to ring and where it is: while somebody is in the water a life
// goes before the record, and the failure stands in the server's log.
func (c Chain) readsNoted(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	answer, err := handler(ctx, request)
	caller := access.CallerFrom(ctx)
	shown := caller.Readings()
	if err != nil || len(shown) == 0 {
		return answer, err
	}
	id := ""
	if about := callFrom(ctx); about != nil {
		id = about.id
	}
	if err := c.Reads.RecordReads(ctx, caller.Person, info.FullMethod, id, shown); err != nil {
		if slices.ContainsFunc(shown, func(r access.Reading) bool { return r.Fields != "contacts" && r.Fields != "place" }) {
			return nil, err
		}
		c.Log.ErrorContext(ctx, "a read was not written down", "reads", len(shown), "error", err.Error())
	}
	return answer, nil
}
