package app

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/store"
	"lastlight/server/internal/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Run(m)) }

// running is a server on loopback over TLS with a database, a clock and a log of its own, and "mara" as its committee.
type running struct {
	t      *testing.T
	pool   *pgxpool.Pool
	config Config
	conn   *grpc.ClientConn
	log    *lines
	stop   context.CancelFunc
	ended  chan error

	mu     sync.Mutex
	passed time.Duration // how far the clock was put forward
}

// lines is a log that is read while it is written.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func (r *running) now() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return time.Now().Add(r.passed)
}

func (r *running) wait(d time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.passed += d
}

// start makes a server and what to reach it with; change edits its settings.
func start(t *testing.T, change func(*Config)) *running {
	t.Helper()
	dir := t.TempDir()
	if _, err := MakeCertificates(dir, nil, time.Now(), time.Hour); err != nil {
		t.Fatal(err)
	}
	url := storetest.URL(t)
	c, err := load(machine(map[string]string{
		"LASTLIGHT_DATABASE_URL": url, "LASTLIGHT_LISTEN": "127.0.0.1:0",
		"LASTLIGHT_TLS_CERT": filepath.Join(dir, "server.pem"), "LASTLIGHT_TLS_KEY": filepath.Join(dir, "server.key"),
		"LASTLIGHT_LOG_LEVEL": "debug", "LASTLIGHT_POOL_CONNECTIONS": "6",
	}, nil), "")
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(&c)
	}
	pool, err := pgxpool.New(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pool.Close)
	r := &running{t: t, pool: pool, config: c, log: &lines{}, ended: make(chan error, 1)}
	if _, _, err := store.New(pool, r.now).KeepClub(t.Context(), "Test Club", "Europe/Zurich"); err != nil {
		t.Fatal(err)
	}
	server, err := New(t.Context(), c, slog.New(slog.NewJSONHandler(r.log, &slog.HandlerOptions{Level: slog.LevelDebug})), r.now)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	r.stop = stop
	go func() { r.ended <- server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		stop()
		select {
		case err := <-r.ended:
			if err != nil {
				t.Errorf("the server ended with %v", err)
			}
		case <-time.After(30 * time.Second):
			t.Error("the server does not stop")
		}
	})
	text, err := os.ReadFile(filepath.Join(dir, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(text)
	r.conn, err = grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS13})))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.conn.Close() })
	return r
}

// person puts a person on record with roles and gives the secret of a device of theirs.
func (r *running) person(id string, roles ...access.Grant) string {
	r.t.Helper()
	ctx := r.t.Context()
	if _, err := r.pool.Exec(ctx, `INSERT INTO person (id, pseudonym, full_name, doc) VALUES ($1, 'P-' || $1, $1, '{}')`, id); err != nil {
		r.t.Fatal(err)
	}
	for _, g := range roles {
		if _, err := r.pool.Exec(ctx, `INSERT INTO role_grant (person, role, expedition, of_person) VALUES ($1, $2, NULLIF($3, ''), NULLIF($4, ''))`,
			id, g.Role.String(), g.Expedition, g.OfPerson); err != nil {
			r.t.Fatal(err)
		}
	}
	secret := access.NewSecret()
	hash := secret.Hash()
	now := r.now()
	if _, err := r.pool.Exec(ctx, `INSERT INTO token (person, device, hash, issued_at, expires_at) VALUES ($1, 'phone', $2, $3, $4)`,
		id, hash[:], now, now.Add(90*24*time.Hour)); err != nil {
		r.t.Fatal(err)
	}
	return secret.Reveal()
}

func (r *running) expedition(id string, people ...string) {
	r.t.Helper()
	if _, err := r.pool.Exec(r.t.Context(), `INSERT INTO expedition (id, title, from_day, to_day, doc) VALUES ($1, $1, '2026-06-01', '2026-06-14', '{}')`, id); err != nil {
		r.t.Fatal(err)
	}
	for _, p := range people {
		if _, err := r.pool.Exec(r.t.Context(), `INSERT INTO expedition_participant (expedition, person) VALUES ($1, $2)`, id, p); err != nil {
			r.t.Fatal(err)
		}
	}
}

func (r *running) as(secret string) context.Context {
	ctx, cancel := context.WithTimeout(r.t.Context(), 20*time.Second)
	r.t.Cleanup(cancel)
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret)
}

func (r *running) access() lastlightv1.AccessServiceClient {
	return lastlightv1.NewAccessServiceClient(r.conn)
}

// want fails the test unless the call ended with this code and reason.
func want(t *testing.T, err error, code codes.Code, reason string) {
	t.Helper()
	if status.Code(err) != code || reasonOf(err) != reason {
		t.Errorf("got %v (%s), want %s %s", err, reasonOf(err), code, reason)
	}
}

func reasonOf(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.Reason
		}
	}
	return ""
}

func request() string { return uuid.NewString() }

func TestTokenFromIssueToEnd(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})
	r.person("asta", access.Grant{Role: access.Diver})

	id := request()
	issue := &lastlightv1.IssueTokenRequest{Person: "asta", Device: "tablet", Days: 30, RequestId: id}
	issued, err := r.access().IssueToken(r.as(mara), issue)
	if err != nil {
		t.Fatal(err)
	}
	again, err := r.access().IssueToken(r.as(mara), issue)
	if err != nil || again.Secret != "" || again.Token.Id != issued.Token.Id {
		t.Errorf("a retried request gives %v (%v), want the same token without its secret", again, err)
	}
	var stored int
	if err := r.pool.QueryRow(t.Context(), `SELECT count(*) FROM request WHERE position($1::bytea IN response) > 0`, []byte(issued.Secret)).Scan(&stored); err != nil || stored != 0 {
		t.Errorf("the secret is in %d stored answers (%v)", stored, err)
	}
	who, err := r.access().WhoAmI(r.as(issued.Secret), &lastlightv1.WhoAmIRequest{})
	if err != nil || who.Person != "asta" || who.Token.Device != "tablet" || who.Club != "Test Club" || who.ClubTimeZone != "Europe/Zurich" || len(who.Roles) != 1 {
		t.Fatalf("%v, %v", who, err)
	}

	renewed, err := r.access().RenewToken(r.as(issued.Secret), &lastlightv1.RenewTokenRequest{RequestId: request()})
	if err != nil {
		t.Fatal(err)
	}
	_, err = r.access().WhoAmI(r.as(issued.Secret), &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.Unauthenticated, "TOKEN_REVOKED")
	if _, err = r.access().WhoAmI(r.as(renewed.Secret), &lastlightv1.WhoAmIRequest{}); err != nil {
		t.Error(err)
	}
	if renewed.Token.Device != "tablet" {
		t.Errorf("the renewed token is of %q", renewed.Token.Device)
	}

	if _, err := r.access().RevokeToken(r.as(mara), &lastlightv1.RevokeTokenRequest{Id: renewed.Token.Id, RequestId: request()}); err != nil {
		t.Fatal(err)
	}
	_, err = r.access().WhoAmI(r.as(renewed.Secret), &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.Unauthenticated, "TOKEN_REVOKED")

	list, err := r.access().ListTokens(r.as(mara), &lastlightv1.ListTokensRequest{Person: "asta", PageSize: 2})
	if err != nil || len(list.Tokens) != 2 || list.NextPageToken == "" {
		t.Fatalf("%v, %v", list, err)
	}
	rest, err := r.access().ListTokens(r.as(mara), &lastlightv1.ListTokensRequest{Person: "asta", PageSize: 2, PageToken: list.NextPageToken})
	if err != nil || len(rest.Tokens) != 1 || rest.NextPageToken != "" {
		t.Fatalf("%v, %v", rest, err)
	}

	r.wait(91 * 24 * time.Hour)
	_, err = r.access().WhoAmI(r.as(mara), &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.Unauthenticated, "TOKEN_EXPIRED")
}

func TestNoToken(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	_, err := r.access().WhoAmI(ctx, &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.Unauthenticated, "NO_TOKEN")
	for _, sent := range []string{"x", access.NewSecret().Reveal()} {
		_, err = r.access().WhoAmI(r.as(sent), &lastlightv1.WhoAmIRequest{})
		want(t, err, codes.Unauthenticated, "BAD_TOKEN")
	}
	_, err = r.access().WhoAmI(r.as("x"), &lastlightv1.WhoAmIRequest{}, grpc.Header(new(metadata.MD)))
	want(t, err, codes.Unauthenticated, "BAD_TOKEN")
	if _, err := grpc_health_v1.NewHealthClient(r.conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{}); err != nil {
		t.Errorf("health asks for a token: %v", err)
	}
	archived := r.person("gone")
	if _, err := r.pool.Exec(t.Context(), `UPDATE person SET archived = true WHERE id = 'gone'`); err != nil {
		t.Fatal(err)
	}
	_, err = r.access().WhoAmI(r.as(archived), &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.Unauthenticated, "TOKEN_REVOKED")
}

func TestLastUseIsNotedOnceAMinute(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	secret := r.person("asta")
	noted := func() time.Time {
		t.Helper()
		if _, err := r.access().WhoAmI(r.as(secret), &lastlightv1.WhoAmIRequest{}); err != nil {
			t.Fatal(err)
		}
		var at time.Time
		if err := r.pool.QueryRow(t.Context(), `SELECT last_used_at FROM token WHERE person = 'asta'`).Scan(&at); err != nil {
			t.Fatal(err)
		}
		return at
	}
	first := noted()
	if again := noted(); !again.Equal(first) {
		t.Error("noted twice within a minute")
	}
	r.wait(time.Minute)
	if later := noted(); later.Sub(first) < time.Minute {
		t.Error("not noted after a minute")
	}
}

func TestLimits(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})

	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+mara)
	_, err := r.access().WhoAmI(ctx, &lastlightv1.WhoAmIRequest{})
	want(t, err, codes.InvalidArgument, "NO_DEADLINE")

	_, err = r.access().GrantRole(r.as(mara), &lastlightv1.GrantRoleRequest{RequestId: request(), Grant: &lastlightv1.RoleGrant{Person: strings.Repeat("x", 17<<20), Role: "diver"}})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("a message of 17 MiB: %v", err)
	}

	_, err = r.access().IssueToken(r.as(mara), &lastlightv1.IssueTokenRequest{Days: 401, RequestId: "7"})
	want(t, err, codes.InvalidArgument, "INVALID_INPUT")
	fields := map[string]string{}
	for _, d := range status.Convert(err).Details() {
		if bad, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range bad.FieldViolations {
				fields[v.Field] = v.Description
			}
		}
	}
	for _, f := range []string{"person", "device", "days", "request_id"} {
		if fields[f] == "" {
			t.Errorf("%s is not named among %v", f, fields)
		}
	}
	if !strings.Contains(fields["days"], "401") || !strings.Contains(fields["days"], "400") {
		t.Errorf("days: %q must say what was read and what is expected", fields["days"])
	}
}

func TestStopping(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	health := grpc_health_v1.NewHealthClient(r.conn)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	watch, err := health.Watch(ctx, &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if reply, err := watch.Recv(); err != nil || reply.Status != grpc_health_v1.HealthCheckResponse_SERVING {
		t.Fatalf("%v, %v", reply, err)
	}
	r.stop()
	if reply, err := watch.Recv(); err != nil || reply.Status != grpc_health_v1.HealthCheckResponse_NOT_SERVING {
		t.Errorf("before it stops the server says %v, %v", reply, err)
	}
	cancel() // a stream that goes on would hold the server until stop_within
	select {
	case err := <-r.ended:
		if err != nil {
			t.Error(err)
		}
		r.ended <- nil
	case <-time.After(10 * time.Second):
		t.Error("does not stop")
	}
}

func TestStoppingIsBounded(t *testing.T) {
	t.Parallel()
	r := start(t, func(c *Config) { c.StopWithin = time.Second })
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	watch, err := grpc_health_v1.NewHealthClient(r.conn).Watch(ctx, &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := watch.Recv(); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	r.stop()
	select {
	case <-r.ended:
		r.ended <- nil
		if took := time.Since(began); took > 10*time.Second {
			t.Errorf("took %s", took)
		}
	case <-time.After(20 * time.Second):
		t.Error("a stream that does not end keeps the server from stopping")
	}
}

func TestRefusesToStart(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := MakeCertificates(dir, nil, time.Now(), time.Hour); err != nil {
		t.Fatal(err)
	}
	c := Config{
		DatabaseURL: storetest.EmptyURL(t), TLSCert: filepath.Join(dir, "server.pem"), TLSKey: filepath.Join(dir, "server.key"),
		PoolConnections: 2, CallsAtOnce: 1, LongestCall: time.Minute, StatementTimeout: time.Second,
	}
	quiet := slog.New(slog.DiscardHandler)
	if _, err := New(t.Context(), c, quiet, time.Now); err == nil || !strings.Contains(err.Error(), "migrate") {
		t.Errorf("an empty database: %v", err)
	}
	c.DatabaseURL = storetest.URL(t)
	pool, err := pgxpool.New(t.Context(), c.DatabaseURL)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	if _, err := pool.Exec(t.Context(), `UPDATE schema_migrations SET dirty = true`); err != nil {
		t.Fatal(err)
	}
	if _, err := New(t.Context(), c, quiet, time.Now); err == nil || !strings.Contains(err.Error(), "half-way") {
		t.Errorf("a dirty database: %v", err)
	}
	if _, err := pool.Exec(t.Context(), `UPDATE schema_migrations SET dirty = false, version = version + 1`); err != nil {
		t.Fatal(err)
	}
	server, err := New(t.Context(), c, quiet, time.Now)
	if err != nil {
		t.Fatalf("a newer database: %v", err)
	}
	server.pool.Close()
	if err := os.Chmod(c.TLSKey, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := New(t.Context(), c, quiet, time.Now); err == nil || !strings.Contains(err.Error(), "0600") {
		t.Errorf("a key that others may read: %v", err)
	}
	c.TLSKey = ""
	if _, err := New(t.Context(), c, quiet, time.Now); err == nil {
		t.Error("started without a key")
	}
	unlisted := grpc.NewServer()
	unlisted.RegisterService(&grpc.ServiceDesc{ServiceName: "lastlight.v1.Other", HandlerType: (*any)(nil), Methods: []grpc.MethodDesc{{MethodName: "Do"}}}, nil)
	if err := access.CheckServed(served(unlisted)); err == nil || !strings.Contains(err.Error(), "/lastlight.v1.Other/Do") {
		t.Errorf("a method that is not listed: %v", err)
	}
}

// The log names the call and the caller, and never a token or what a body says.
func TestLogTellsNoSecrets(t *testing.T) {
	t.Parallel()
	r := start(t, nil)
	mara := r.person("mara", access.Grant{Role: access.Committee})
	issued, err := r.access().IssueToken(r.as(mara), &lastlightv1.IssueTokenRequest{Person: "mara", Device: "quiet-device", RequestId: request()})
	if err != nil {
		t.Fatal(err)
	}
	unknown := access.NewSecret().Reveal()
	sites := lastlightv1.NewSiteServiceClient(r.conn)
	_, posErr := sites.CreateSite(r.as(mara), &lastlightv1.CreateSiteRequest{RequestId: "anything a caller likes", Site: &lastlightv1.Site{
		Id: "spring", ExactPosition: &lastlightv1.Position{Latitude: 146.94811, Longitude: 7.44744}, GateCode: new("gate4711" + strings.Repeat("x", 80)),
	}})
	_, badErr := r.access().WhoAmI(r.as(unknown), &lastlightv1.WhoAmIRequest{})
	text := r.log.String() + fmt.Sprint(posErr, status.Convert(posErr).Details(), badErr, status.Convert(badErr).Details())
	for _, secret := range []string{mara, issued.Secret, unknown, "46.94811", "7.44744", "gate4711", "quiet-device"} {
		if strings.Contains(text, strings.TrimPrefix(secret, access.SecretPrefix)) {
			t.Errorf("%q stands in the log or an error:\n%s", secret, text)
		}
	}
	if strings.Contains(r.log.String(), "anything a caller likes") {
		t.Error("what is not a UUID enters the log as a request id")
	}
	if status.Code(posErr) != codes.InvalidArgument || !strings.Contains(text, "exact_position.latitude") {
		t.Errorf("the position was not even looked at: %v", posErr)
	}
	for _, wanted := range []string{`"method":"/lastlight.v1.AccessService/IssueToken"`, `"caller":"mara"`, `"code":"OK"`, `"call":"`, `"request":"`} {
		if !strings.Contains(text, wanted) {
			t.Errorf("%s does not stand in the log", wanted)
		}
	}
}
