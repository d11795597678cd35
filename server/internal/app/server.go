package app

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"github.com/jackc/pgx/v5/pgxpool"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/protobuf/reflect/protoreflect"

	"lastlight/migrations"
	lastlightv1 "lastlight/proto/lastlight/v1"
	"lastlight/server/internal/access"
	"lastlight/server/internal/post"
	"lastlight/server/internal/rpc"
	"lastlight/server/internal/schema"
	"lastlight/server/internal/store"
	"lastlight/server/zones"
)

// largestMessage is the largest message taken, bytes. What is larger is refused before it is read whole.
const largestMessage = 16 << 20

// Server is the server, ready to serve.
type Server struct {
	config Config
	log    *slog.Logger
	pool   *pgxpool.Pool
	store  *store.Store
	grpc   *grpc.Server
	health *health.Server
	post   *post.Post
}

// New connects to the database, compares its version, and puts the server together. now is its clock. It fails where serving
// would be wrong: an older or half-migrated database, a service with a method that is not in the table of who may call it.
func New(ctx context.Context, c Config, log *slog.Logger, now func() time.Time) (*Server, error) {
	certificate, err := certificateOf(c)
	if err != nil {
		return nil, err
	}
	log = slog.New(rpc.LogHandler(log.Handler()))
	pool, err := newPool(ctx, c)
	if err != nil {
		return nil, err
	}
	s := &Server{config: c, log: log, pool: pool, store: store.New(pool, now), health: health.NewServer()}
	if err := s.build(ctx, certificate, now); err != nil {
		pool.Close()
		return nil, err
	}
	return s, nil
}

// certificateOf reads the server's certificate. There is no listener without one.
func certificateOf(c Config) (tls.Certificate, error) {
	info, err := os.Stat(c.TLSKey)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("tls_key: %w", err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return tls.Certificate{}, fmt.Errorf("tls_key: %s has mode %04o, expected 0600: others may have read it; make a new one with lastlightd tls", c.TLSKey, mode)
	}
	certificate, err := tls.LoadX509KeyPair(c.TLSCert, c.TLSKey)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("tls_cert and tls_key: %w", err)
	}
	return certificate, nil
}

// newPool makes the pool that serves. A statement ends before its call does, and a connection that died is found out soon.
func newPool(ctx context.Context, c Config) (*pgxpool.Pool, error) {
	p, err := pgxpool.ParseConfig(c.DatabaseURL)
	if err != nil {
		return nil, errors.New("database_url: not a PostgreSQL URL") // the driver's words may hold parts of it
	}
	p.MaxConns = int32(c.PoolConnections)
	p.MinIdleConns = min(2, p.MaxConns)
	p.MaxConnLifetime = time.Hour
	p.MaxConnLifetimeJitter = 5 * time.Minute
	p.HealthCheckPeriod = 15 * time.Second
	p.PingTimeout = 2 * time.Second
	p.ConnConfig.ConnectTimeout = 5 * time.Second
	p.ConnConfig.RuntimeParams["application_name"] = "lastlightd"
	// Statements take milliseconds; compiling one, which the database does by its guess of the cost, takes ten times as long.
	p.ConnConfig.RuntimeParams["jit"] = "off"
	p.ConnConfig.RuntimeParams["statement_timeout"] = fmt.Sprint(c.StatementTimeout.Milliseconds())
	p.ConnConfig.RuntimeParams["idle_in_transaction_session_timeout"] = fmt.Sprint(c.LongestCall.Milliseconds())
	pool, err := pgxpool.NewWithConfig(ctx, p)
	if err != nil {
		return nil, fmt.Errorf("pool of connections: %w", err)
	}
	return pool, nil
}

func (s *Server) build(ctx context.Context, certificate tls.Certificate, now func() time.Time) error {
	ask, cancel := context.WithTimeout(ctx, 15*time.Second)
	defer cancel()
	if err := schema.Check(ask, s.pool, migrations.FS); err != nil {
		return err
	}
	valid, err := validator()
	if err != nil {
		return err
	}
	chain := rpc.Chain{
		Log: s.log, Now: now, Callers: s.store, Reads: s.store, Valid: valid,
		Longest: s.config.LongestCall, AtOnce: s.config.CallsAtOnce, Waiting: s.config.CallsWaiting,
	}
	s.grpc = grpc.NewServer(append(chain.ServerOptions(),
		grpc.Creds(credentials.NewTLS(&tls.Config{Certificates: []tls.Certificate{certificate}, MinVersion: tls.VersionTLS13})),
		grpc.MaxRecvMsgSize(largestMessage),
		grpc.MaxSendMsgSize(largestMessage),
		grpc.MaxConcurrentStreams(250),
		// Calls run on goroutines that stay, so that a stack grows once and not in every call.
		grpc.NumStreamWorkers(uint32(s.config.CallsAtOnce)),
		// As much as a caller may send ahead. Unless it is fixed, the server sends a ping with nearly every call to find it out.
		grpc.InitialWindowSize(1<<20), grpc.InitialConnWindowSize(1<<20),
		grpc.ConnectionTimeout(20*time.Second),
		// The server finds out dead connections by itself; a client needs no pings of its own, and many of them are refused.
		grpc.KeepaliveParams(keepalive.ServerParameters{MaxConnectionIdle: 15 * time.Minute, Time: time.Minute, Timeout: 20 * time.Second}),
	)...)
	due := &rpc.Due{Store: s.store, Zones: zones.Load, Sending: s.config.Mail.Sends()}
	registerServices(s.grpc, s.store, valid, due)
	if s.config.Mail.Sends() {
		if s.post, err = s.newPost(ask, due, now); err != nil {
			return err
		}
	}
	grpc_health_v1.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	return access.CheckServed(served(s.grpc))
}

// newPost makes what sends letters; it fails where the settings could never send one.
func (s *Server) newPost(ctx context.Context, due *rpc.Due, now func() time.Time) (*post.Post, error) {
	if err := s.config.Mail.Check(); err != nil {
		return nil, err
	}
	_, zone, err := s.store.Club(ctx)
	if err != nil {
		return nil, err
	}
	location, err := time.LoadLocation(zone)
	return &post.Post{Config: s.config.Mail, Queue: s.store, Text: due.LetterTo, Now: now, Zone: location, Log: s.log}, err
}

// validator compiles the rules of every message of the interface now, so that none is found broken later.
func validator() (protovalidate.Validator, error) {
	var all []protoreflect.MessageDescriptor
	for _, file := range []protoreflect.FileDescriptor{
		lastlightv1.File_lastlight_v1_access_proto, lastlightv1.File_lastlight_v1_dive_proto, lastlightv1.File_lastlight_v1_due_proto, lastlightv1.File_lastlight_v1_expedition_proto,
		lastlightv1.File_lastlight_v1_gear_proto, lastlightv1.File_lastlight_v1_incident_proto, lastlightv1.File_lastlight_v1_plan_proto,
		lastlightv1.File_lastlight_v1_policy_proto, lastlightv1.File_lastlight_v1_privacy_proto, lastlightv1.File_lastlight_v1_record_proto, lastlightv1.File_lastlight_v1_roster_proto,
		lastlightv1.File_lastlight_v1_site_proto,
	} {
		services := file.Services()
		for i := range services.Len() {
			methods := services.Get(i).Methods()
			for j := range methods.Len() {
				all = append(all, methods.Get(j).Input())
			}
		}
	}
	v, err := protovalidate.New(protovalidate.WithMessageDescriptors(all...))
	if err != nil {
		return nil, fmt.Errorf("rules of the published interface: %w", err)
	}
	return v, nil
}

// served lists the full names of all methods.
func served(server *grpc.Server) []string {
	var all []string
	for service, info := range server.GetServiceInfo() {
		for _, m := range info.Methods {
			all = append(all, "/"+service+"/"+m.Name)
		}
	}
	return all
}

// Serve answers calls on the listener until ctx ends, then stops: first it says that it will, then it lets the calls at work end,
// then, after stop_within, it ends them. The pool is closed when Serve returns.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	defer s.pool.Close()
	jobs, endJobs := context.WithCancel(ctx)
	var running sync.WaitGroup
	running.Go(func() { s.expire(jobs) })
	running.Go(func() { s.letters(jobs) })
	defer running.Wait() // before the pool closes
	defer endJobs()
	failed := make(chan error, 1)
	go func() { failed <- s.grpc.Serve(listener) }()
	s.health.SetServingStatus("", grpc_health_v1.HealthCheckResponse_SERVING)
	s.log.Info("serving", "listen", listener.Addr().String(), "version", Version())
	select {
	case err := <-failed:
		return fmt.Errorf("serve: %w", err)
	case <-ctx.Done():
	}
	s.log.Info("stopping", "within", s.config.StopWithin.String())
	s.health.Shutdown()
	timer := time.AfterFunc(s.config.StopWithin, s.grpc.Stop)
	s.grpc.GracefulStop()
	if timer.Stop() {
		s.log.Info("stopped")
	} else {
		s.log.Warn("stopped with calls at work", "after", s.config.StopWithin.String())
	}
	if err := <-failed; err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serve: %w", err)
	}
	return nil
}
