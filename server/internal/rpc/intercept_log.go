package rpc

import (
	"context"
	"log/slog"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
)

// callHeader names a call to the one who made it, to be quoted when asking about it.
const callHeader = "lastlight-call"

// call is what the lines of the log say about the call that they belong to. Bodies, tokens and what records say are never in it.
type call struct {
	id      string // of this attempt
	method  string
	request string // the caller's request id, the same in every attempt
	caller  string // person id; set when the token has been checked
}

type callKey struct{}

func callFrom(ctx context.Context) *call {
	c, _ := ctx.Value(callKey{}).(*call)
	return c
}

// LogHandler adds to every line which call it belongs to.
func LogHandler(inner slog.Handler) slog.Handler { return callHandler{inner} }

type callHandler struct{ slog.Handler }

func (h callHandler) Handle(ctx context.Context, r slog.Record) error {
	if c := callFrom(ctx); c != nil {
		r.AddAttrs(slog.String("call", c.id), slog.String("method", c.method))
		if c.request != "" {
			r.AddAttrs(slog.String("request", c.request))
		}
		if c.caller != "" {
			r.AddAttrs(slog.String("caller", c.caller))
		}
	}
	return h.Handler.Handle(ctx, r)
}

func (h callHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return callHandler{h.Handler.WithAttrs(attrs)}
}

func (h callHandler) WithGroup(name string) slog.Handler {
	return callHandler{h.Handler.WithGroup(name)}
}

// logged writes one line for each call when it has ended.
func (c Chain) logged(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	began := c.Now()
	about := &call{id: uuid.NewString(), method: info.FullMethod}
	if r, ok := request.(interface{ GetRequestId() string }); ok {
		// As sent, before anything was checked: only what is a UUID may enter the log.
		if id, err := uuid.Parse(r.GetRequestId()); err == nil {
			about.request = id.String()
		}
	}
	ctx = context.WithValue(ctx, callKey{}, about)
	_ = grpc.SetHeader(ctx, metadata.Pairs(callHeader, about.id)) // fails only outside of a served call
	answer, err := handler(ctx, request)
	c.Log.InfoContext(ctx, "call", "code", status.Code(err).String(), "ms", float64(c.Now().Sub(began).Microseconds())/1000)
	return answer, err
}
