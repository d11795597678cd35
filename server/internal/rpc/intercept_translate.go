package rpc

import (
	"context"

	"google.golang.org/grpc"
)

// translated turns every failure into what the caller may know of it, once, after the handler and its transaction have ended.
func (c Chain) translated(ctx context.Context, request any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	answer, err := handler(ctx, request)
	if err != nil {
		return nil, ToStatus(ctx, c.Log, err)
	}
	return answer, nil
}
