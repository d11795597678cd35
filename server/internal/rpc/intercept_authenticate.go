package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
)

// authenticated looks the token up, at every call: one that is revoked is refused from that moment on. Methods open to all are
// called by nobody in particular.
func (c Chain) authenticated(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	m, _ := access.Lookup(info.FullMethod)
	if m.Open {
		return handler(ctx, request)
	}
	secret, err := secretOf(ctx)
	if err != nil {
		return nil, err
	}
	caller, err := c.Callers.CallerOf(ctx, secret)
	if err != nil {
		return nil, err
	}
	if about := callFrom(ctx); about != nil {
		about.caller = caller.Person
	}
	// The roles must be able to permit the method on some record; whether on this one, its handler asks.
	if !m.ForRoles(caller) {
		return nil, &fault.Error{Kind: fault.Denied, Reason: "NOT_ALLOWED", Message: "none of your roles may do this"}
	}
	return handler(access.WithCaller(ctx, caller), request)
}

// secretOf reads the header "authorization: Bearer SECRET". What was sent is in no error.
func secretOf(ctx context.Context) (access.Secret, error) {
	headers := metadata.ValueFromIncomingContext(ctx, "authorization")
	if len(headers) == 0 {
		return access.Secret{}, &fault.Error{Kind: fault.Unauthenticated, Reason: "NO_TOKEN", Message: "no token was sent"}
	}
	scheme, text, _ := strings.Cut(headers[0], " ")
	secret, ok := access.ParseSecret(text)
	if len(headers) > 1 || !strings.EqualFold(scheme, "bearer") || !ok {
		return access.Secret{}, &fault.Error{Kind: fault.Unauthenticated, Reason: "BAD_TOKEN", Message: "what was sent as a token is none"}
	}
	return secret, nil
}
