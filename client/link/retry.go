package link

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// Waits between tries. A restarting server is back within them or not at all.
var waits = []time.Duration{200 * time.Millisecond, 600 * time.Millisecond, 1500 * time.Millisecond}

// retry repeats calls that ended in UNAVAILABLE. That may come after the work
// was done, so only reads and writes that carry a request id are repeated; the
// server does a request id once.
func retry(sleep func(time.Duration)) grpc.UnaryClientInterceptor {
	return func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
		for try := 0; ; try++ {
			err := invoke(ctx, method, req, reply, cc, opts...)
			if status.Code(err) != codes.Unavailable || try == len(waits) || !repeatable(req) {
				return err
			}
			if d, ok := ctx.Deadline(); ok && time.Until(d) <= waits[try] {
				return err
			}
			sleep(waits[try])
			if ctx.Err() != nil {
				return err
			}
		}
	}
}

// repeatable: a request without a request_id field is a read (a test holds
// the API to that); with one, it must be filled.
func repeatable(req any) bool {
	m, ok := req.(proto.Message)
	if !ok {
		return false
	}
	r := m.ProtoReflect()
	fd := r.Descriptor().Fields().ByName("request_id")
	return fd == nil || r.Get(fd).String() != ""
}
