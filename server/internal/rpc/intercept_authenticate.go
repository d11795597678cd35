package rpc

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/store"
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
	ahead := c.ahead(request)
	caller, err := c.Callers.CallerOf(ctx, secret, ahead)
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
	ctx = access.WithCaller(ctx, caller)
	if ahead != nil {
		ctx = context.WithValue(ctx, aheadKey{}, ahead)
	}
	return handler(ctx, request)
}

// ahead is the page that a list of dives starts with, for it to be read in the round trip of the token's look-up: the list that is
// asked for most costs one round trip less. It is the page for a member of the club; the handler, which knows the caller, takes it
// or leaves it, and without a caller it is dropped. Nothing is read ahead for a request that is to be refused.
func (c Chain) ahead(request any) *store.DivePage {
	r, ok := request.(*lastlightv1.ListDivesRequest)
	if !ok || c.Valid.Validate(r) != nil {
		return nil
	}
	page, err := store.NewDivePage(r, nil, nil)
	if err != nil {
		return nil // the handler says so
	}
	return page
}

type aheadKey struct{}

// readAhead gives the page that was read with the caller's token, if there is one.
func readAhead(ctx context.Context) (*store.DivePage, bool) {
	page, ok := ctx.Value(aheadKey{}).(*store.DivePage)
	return page, ok
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
