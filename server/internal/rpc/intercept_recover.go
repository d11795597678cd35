package rpc

import (
	"context"
	"fmt"
	"runtime/debug"

	"google.golang.org/grpc"
)

// recovered makes a panic in one call the failure of that call: unforeseen, with its stack in the log under the incident id that
// the caller gets. The transaction is rolled back by the database when its connection is closed.
func (c Chain) recovered(ctx context.Context, request any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (answer any, err error) {
	defer func() {
		if p := recover(); p != nil {
			answer, err = nil, panicked(p)
		}
	}()
	return handler(ctx, request)
}

// panicked is the failure with the stack of where it happened; to be called while recovering.
func panicked(p any) error { return fmt.Errorf("panic: %v\n%s", p, debug.Stack()) }
