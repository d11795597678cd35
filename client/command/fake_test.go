package command

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"lastlight/client/exit"
	"lastlight/client/recordfile"
	pb "lastlight/proto/lastlight/v1"
)

const testToken = "test-token-of-nobody"

// fake answers every call of the API: with what a test set, else with a
// sample of the message, else with an empty one. Requests are held to the
// API's own rules, as the server does.
type fake struct {
	t       *testing.T
	samples map[protoreflect.FullName]proto.Message

	mu       sync.Mutex
	answers  map[string]func(proto.Message) (proto.Message, error)
	requests []received
}

type received struct {
	method string
	msg    proto.Message
	token  string
}

// club is a fake server and an environment that reaches it.
type club struct {
	*fake
	env map[string]string
	dir string
	// tick is how far the clock goes on each time it is read.
	tick time.Duration
}

func newClub(t *testing.T) *club {
	t.Helper()
	dir := t.TempDir()
	ca, cert := certificates(t)
	for name, text := range map[string]string{"ca.pem": string(ca), "token": testToken + "\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	f := &fake{t: t, samples: samples(t), answers: map[string]func(proto.Message) (proto.Message, error){}}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := grpc.NewServer(
		grpc.Creds(credentials.NewTLS(&tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS13})),
		grpc.UnknownServiceHandler(f.serve))
	go func() { _ = s.Serve(l) }() // Ends with Stop.
	t.Cleanup(s.Stop)
	return &club{fake: f, env: map[string]string{
		"HOME": dir, "LASTLIGHT_SERVER": l.Addr().String(), "LASTLIGHT_CA": filepath.Join(dir, "ca.pem"), "LASTLIGHT_TOKEN_FILE": filepath.Join(dir, "token"),
	}, dir: dir}
}

func certificates(t *testing.T) ([]byte, tls.Certificate) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test club"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// samples are one valid message of each kind of record, by message name.
func samples(t *testing.T) map[protoreflect.FullName]proto.Message {
	t.Helper()
	src, err := recordfile.Open("../recordfile/testdata/club.yaml", nil)
	if err != nil {
		t.Fatal(err)
	}
	f, problems := recordfile.Read(src)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	out := map[protoreflect.FullName]proto.Message{}
	for _, r := range f.Records {
		m := r.ProtoReflect()
		m.Range(func(_ protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			out[v.Message().Descriptor().FullName()] = v.Message().Interface()
			return true
		})
	}
	who := &pb.WhoAmIResponse{Person: "ane", ClubTimeZone: "Europe/Oslo"}
	out[who.ProtoReflect().Descriptor().FullName()] = who
	return out
}

func methodOf(full string) protoreflect.MethodDescriptor {
	name := protoreflect.FullName(strings.ReplaceAll(strings.TrimPrefix(full, "/"), "/", "."))
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(name)
	if err != nil {
		return nil
	}
	md, _ := d.(protoreflect.MethodDescriptor)
	return md
}

func emptyOf(md protoreflect.MessageDescriptor) proto.Message {
	mt, err := protoregistry.GlobalTypes.FindMessageByName(md.FullName())
	if err != nil {
		panic(err)
	}
	return mt.New().Interface()
}

func (f *fake) serve(_ any, stream grpc.ServerStream) error {
	full, _ := grpc.MethodFromServerStream(stream)
	md := methodOf(full)
	if md == nil {
		return status.Errorf(codes.Unimplemented, "%s", full)
	}
	req := emptyOf(md.Input())
	if err := stream.RecvMsg(req); err != nil {
		return err
	}
	in, _ := metadata.FromIncomingContext(stream.Context())
	f.mu.Lock()
	f.requests = append(f.requests, received{string(md.Name()), req, strings.Join(in.Get("authorization"), ",")})
	answer := f.answers[string(md.Name())]
	f.mu.Unlock()
	// apply answers with all problems of the records, its own and the schema's.
	if err := protovalidate.Validate(req); err != nil && md.Name() != "ApplyRecords" {
		return status.Error(codes.InvalidArgument, err.Error())
	}
	if answer != nil {
		m, err := answer(req)
		if err != nil {
			return err
		}
		return stream.SendMsg(m)
	}
	if s := f.samples[md.Output().FullName()]; s != nil {
		return stream.SendMsg(s)
	}
	return stream.SendMsg(emptyOf(md.Output()))
}

// say sets the answer to a method.
func (f *fake) say(method string, m proto.Message) {
	f.answer(method, func(proto.Message) (proto.Message, error) { return m, nil })
}

func (f *fake) answer(method string, with func(proto.Message) (proto.Message, error)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.answers[method] = with
}

// asked gives the requests of a method in order.
func (f *fake) asked(method string) []proto.Message {
	f.mu.Lock()
	defer f.mu.Unlock()
	var out []proto.Message
	for _, r := range f.requests {
		if r.method == method {
			out = append(out, r.msg)
		}
	}
	return out
}

type result struct {
	code     exit.Code
	out, err string
}

// now is the minute at which the tests' program runs.
var now = time.Date(2026, 6, 2, 8, 0, 0, 0, time.UTC)

func (c *club) run(args ...string) result { return c.with("", nil, args...) }

func (c *club) with(stdin string, env map[string]string, args ...string) result {
	c.t.Helper()
	var out, errs bytes.Buffer
	at := now
	code := Main(args, Streams{
		In: strings.NewReader(stdin), Out: &out, Err: &errs, Now: func() time.Time { at = at.Add(c.tick); return at },
		Env: func(name string) string {
			if v, ok := env[name]; ok {
				return v
			}
			return c.env[name]
		},
	})
	return result{code, out.String(), errs.String()}
}
