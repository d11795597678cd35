package app

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/emptypb"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/fault"
	"lastlight/server/internal/rpc"
	"lastlight/server/internal/store"
)

// people are callers by their secrets, without a database.
type people map[[32]byte]*access.Caller

func (p people) CallerOf(_ context.Context, s access.Secret, _ *store.DivePage) (*access.Caller, error) {
	if c, ok := p[s.Hash()]; ok {
		return c, nil
	}
	return nil, &fault.Error{Kind: fault.Unauthenticated, Reason: "BAD_TOKEN", Message: "none"}
}

func (p people) add(roles ...access.Grant) string {
	secret := access.NewSecret()
	p[secret.Hash()] = access.NewCaller("", access.Token{Person: "p"}, roles)
	return secret.Reveal()
}

// sites is a handler that does what its function says.
type sites struct {
	lastlightv1.UnimplementedSiteServiceServer
	do func(context.Context) error
}

func (s sites) GetSite(ctx context.Context, _ *lastlightv1.GetSiteRequest) (*lastlightv1.Site, error) {
	return &lastlightv1.Site{}, s.do(ctx)
}

// chained is a server with the interceptors, every service, and no database; change edits the limits.
func chained(t *testing.T, callers people, log *lines, do func(context.Context) error, change func(*rpc.Chain)) *grpc.ClientConn {
	t.Helper()
	valid, err := validator()
	if err != nil {
		t.Fatal(err)
	}
	chain := rpc.Chain{
		Log: slog.New(rpc.LogHandler(slog.NewJSONHandler(log, nil))), Now: time.Now, Callers: callers, Valid: valid,
		Longest: time.Minute, AtOnce: 8, Waiting: 100,
	}
	if change != nil {
		change(&chain)
	}
	server := grpc.NewServer(chain.ServerOptions()...)
	lastlightv1.RegisterAccessServiceServer(server, lastlightv1.UnimplementedAccessServiceServer{})
	lastlightv1.RegisterDiveServiceServer(server, lastlightv1.UnimplementedDiveServiceServer{})
	lastlightv1.RegisterExpeditionServiceServer(server, lastlightv1.UnimplementedExpeditionServiceServer{})
	lastlightv1.RegisterGearServiceServer(server, lastlightv1.UnimplementedGearServiceServer{})
	lastlightv1.RegisterGasServiceServer(server, lastlightv1.UnimplementedGasServiceServer{})
	lastlightv1.RegisterDueServiceServer(server, lastlightv1.UnimplementedDueServiceServer{})
	lastlightv1.RegisterIncidentServiceServer(server, lastlightv1.UnimplementedIncidentServiceServer{})
	lastlightv1.RegisterPlanServiceServer(server, lastlightv1.UnimplementedPlanServiceServer{})
	lastlightv1.RegisterPolicyServiceServer(server, lastlightv1.UnimplementedPolicyServiceServer{})
	lastlightv1.RegisterPrivacyServiceServer(server, lastlightv1.UnimplementedPrivacyServiceServer{})
	lastlightv1.RegisterRecordServiceServer(server, lastlightv1.UnimplementedRecordServiceServer{})
	lastlightv1.RegisterRosterServiceServer(server, lastlightv1.UnimplementedRosterServiceServer{})
	lastlightv1.RegisterSiteServiceServer(server, sites{do: do})
	server.RegisterService(&grpc.ServiceDesc{
		ServiceName: "lastlight.v1.Other", HandlerType: (*any)(nil),
		Methods: []grpc.MethodDesc{{MethodName: "Do", Handler: func(_ any, ctx context.Context, dec func(any) error, chain grpc.UnaryServerInterceptor) (any, error) {
			in := &emptypb.Empty{}
			if err := dec(in); err != nil {
				return nil, err
			}
			return chain(ctx, in, &grpc.UnaryServerInfo{FullMethod: "/lastlight.v1.Other/Do"}, func(context.Context, any) (any, error) { return in, nil })
		}}},
		Streams: []grpc.StreamDesc{{StreamName: "Flow", ServerStreams: true, Handler: func(any, grpc.ServerStream) error { return nil }}},
	}, struct{}{})
	listener := bufconn.Listen(1 << 20)
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	conn, err := grpc.NewClient("passthrough:///", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return conn
}

func calling(t *testing.T, secret string, within time.Duration) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), within)
	t.Cleanup(cancel)
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret)
}

// Every method is called by every role through the real chain: what the role can never do is refused before the message is
// looked at, and what it can do on some record gets as far as the handler or the message's own faults.
func TestEveryMethodCalledByEveryRole(t *testing.T) {
	t.Parallel()
	callers := people{}
	conn := chained(t, callers, &lines{}, func(context.Context) error { return status.Error(codes.Unimplemented, "") }, nil)
	secrets := map[access.Roles]string{0: callers.add()}
	for role := range access.Everybody.Each() {
		secrets[role] = callers.add(access.Grant{Role: role, Expedition: "spring"})
	}
	calls := 0
	for _, m := range access.Methods() {
		if m.Open {
			continue
		}
		for role, secret := range secrets {
			calls++
			err := conn.Invoke(calling(t, secret, time.Minute), m.Name, &emptypb.Empty{}, &emptypb.Empty{})
			may := (m.Anywhere | m.Here).Any(role) || m.Tied != 0
			switch code := status.Code(err); {
			case !may && (code != codes.PermissionDenied || reasonOf(err) != "NOT_ALLOWED"):
				t.Errorf("%s by %q: %v, want PermissionDenied", m.Name, role, err)
			case may && code != codes.Unimplemented && code != codes.InvalidArgument:
				t.Errorf("%s by %q: %v, want to come through", m.Name, role, err)
			}
		}
		err := conn.Invoke(calling(t, access.NewSecret().Reveal(), time.Minute), m.Name, &emptypb.Empty{}, &emptypb.Empty{})
		want(t, err, codes.Unauthenticated, "BAD_TOKEN")
	}
	if calls < 90*13 {
		t.Errorf("only %d calls were made", calls)
	}
}

func TestUnlistedMethodIsRefused(t *testing.T) {
	t.Parallel()
	callers := people{}
	secret := callers.add(access.Grant{Role: access.Committee})
	conn := chained(t, callers, &lines{}, nil, nil)
	err := conn.Invoke(calling(t, secret, time.Minute), "/lastlight.v1.Other/Do", &emptypb.Empty{}, &emptypb.Empty{})
	want(t, err, codes.PermissionDenied, "NOT_LISTED")
	stream, err := conn.NewStream(calling(t, secret, time.Minute), &grpc.StreamDesc{ServerStreams: true}, "/lastlight.v1.Other/Flow")
	if err != nil {
		t.Fatal(err)
	}
	want(t, stream.RecvMsg(&emptypb.Empty{}), codes.PermissionDenied, "NOT_LISTED")
}

func TestPanicIsOneCallsFailure(t *testing.T) {
	t.Parallel()
	callers, log := people{}, &lines{}
	secret := callers.add(access.Grant{Role: access.Diver})
	conn := chained(t, callers, log, func(context.Context) error { panic("the map is upside down") }, nil)
	get := func() error {
		_, err := lastlightv1.NewSiteServiceClient(conn).GetSite(calling(t, secret, time.Minute), &lastlightv1.GetSiteRequest{Id: "spring"})
		return err
	}
	err := get()
	want(t, err, codes.Internal, "INTERNAL")
	if strings.Contains(err.Error(), "upside down") {
		t.Errorf("the caller reads %v", err)
	}
	incident := ""
	if i := strings.LastIndex(err.Error(), " "); i >= 0 {
		incident = err.Error()[i+1:]
	}
	if text := log.String(); !strings.Contains(text, "upside down") || !strings.Contains(text, incident) || !strings.Contains(text, "chain_test.go") {
		t.Errorf("the log lacks the panic, its stack, or incident %s: %s", incident, text)
	}
	want(t, get(), codes.Internal, "INTERNAL") // it still serves
}

func TestUnforeseenErrorsStayInside(t *testing.T) {
	t.Parallel()
	callers, log := people{}, &lines{}
	secret := callers.add(access.Grant{Role: access.Diver})
	conn := chained(t, callers, log, func(context.Context) error { return errors.New(`relation "person" does not exist`) }, nil)
	_, err := lastlightv1.NewSiteServiceClient(conn).GetSite(calling(t, secret, time.Minute), &lastlightv1.GetSiteRequest{Id: "spring"})
	want(t, err, codes.Internal, "INTERNAL")
	if strings.Contains(err.Error(), "relation") || !strings.Contains(log.String(), "relation") {
		t.Errorf("the caller reads %v", err)
	}
}

func TestTooLongIsShortened(t *testing.T) {
	t.Parallel()
	callers := people{}
	secret := callers.add(access.Grant{Role: access.Diver})
	conn := chained(t, callers, &lines{}, func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }, func(c *rpc.Chain) { c.Longest = 50 * time.Millisecond })
	began := time.Now()
	_, err := lastlightv1.NewSiteServiceClient(conn).GetSite(calling(t, secret, time.Minute), &lastlightv1.GetSiteRequest{Id: "spring"})
	if status.Code(err) != codes.DeadlineExceeded || time.Since(began) > 30*time.Second {
		t.Errorf("after %s: %v", time.Since(began), err)
	}
}

func TestTooManyAtOnce(t *testing.T) {
	t.Parallel()
	callers := people{}
	secret := callers.add(access.Grant{Role: access.Diver})
	var working atomic.Int64
	entered, release := make(chan struct{}), make(chan struct{})
	conn := chained(t, callers, &lines{}, func(context.Context) error {
		if n := working.Add(1); n > 1 {
			t.Errorf("%d calls at work, want 1", n)
		}
		entered <- struct{}{}
		<-release
		working.Add(-1)
		return nil
	}, func(c *rpc.Chain) { c.AtOnce, c.Waiting = 1, 1 })
	get := func(within time.Duration) error {
		_, err := lastlightv1.NewSiteServiceClient(conn).GetSite(calling(t, secret, within), &lastlightv1.GetSiteRequest{Id: "spring"})
		return err
	}
	first, second := make(chan error, 1), make(chan error, 1)
	go func() { first <- get(time.Minute) }()
	<-entered
	// One may wait: until its deadline.
	if err := get(100 * time.Millisecond); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("a call that waits in vain: %v", err)
	}
	go func() { second <- get(time.Minute) }()
	deadline := time.Now().Add(20 * time.Second)
	for {
		// One more than may wait is turned away as soon as the second waits; until then it may be the one that waits, in vain.
		err := get(50 * time.Millisecond)
		if status.Code(err) == codes.ResourceExhausted {
			want(t, err, codes.ResourceExhausted, "OVERLOADED")
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("nobody is turned away: %v", err)
		}
	}
	release <- struct{}{}
	if err := <-first; err != nil {
		t.Error(err)
	}
	select {
	case <-entered:
		release <- struct{}{}
		if err := <-second; err != nil {
			t.Error(err)
		}
	case err := <-second: // turned away while another was waiting
		want(t, err, codes.ResourceExhausted, "OVERLOADED")
	}
}
