package app

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

const (
	authorityLife = 10 * 365 * 24 * time.Hour
	// longestCertificate is the most days of a server certificate: what leaks ends in a bounded time.
	longestCertificate = 825
	// skew lets a client whose clock is behind accept what was made a moment ago.
	skew = time.Hour
)

// authority is a certificate authority with its key.
type authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// MakeCertificates writes ca.pem, ca.key, server.pem and server.key into the directory; an authority that is there is kept. The
// server certificate is for localhost, the loopback addresses and the names given. It returns the server certificate's last moment.
func MakeCertificates(dir string, names []string, now time.Time, life time.Duration) (time.Time, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return time.Time{}, err
	}
	ca, err := readAuthority(dir)
	if errors.Is(err, fs.ErrNotExist) {
		ca, err = newAuthority(dir, now)
	}
	if err != nil {
		return time.Time{}, err
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return time.Time{}, err
	}
	serial, err := serialNumber()
	if err != nil {
		return time.Time{}, err
	}
	until := now.Add(life)
	if ca.certificate.NotAfter.Before(until) {
		until = ca.certificate.NotAfter
	}
	if !until.After(now) {
		return time.Time{}, fmt.Errorf("%s has ended: move it and ca.key away, make a new authority, and give its ca.pem to every client", filepath.Join(dir, "ca.pem"))
	}
	template := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "lastlightd"},
		NotBefore:    now.Add(-skew),
		NotAfter:     until,
		KeyUsage:     x509.KeyUsageDigitalSignature,
		ExtKeyUsage:  []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames:     []string{"localhost"},
		IPAddresses:  []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback},
	}
	for _, name := range names {
		if ip := net.ParseIP(name); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, name)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, ca.certificate, &key.PublicKey, ca.key)
	if err != nil {
		return time.Time{}, err
	}
	return until, errors.Join(writeKey(filepath.Join(dir, "server.key"), key), writePEM(filepath.Join(dir, "server.pem"), "CERTIFICATE", der, 0o644))
}

func newAuthority(dir string, now time.Time) (authority, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return authority{}, err
	}
	serial, err := serialNumber()
	if err != nil {
		return authority{}, err
	}
	template := &x509.Certificate{
		SerialNumber:          serial,
		Subject:               pkix.Name{CommonName: "Lastlight club authority"},
		NotBefore:             now.Add(-skew),
		NotAfter:              now.Add(authorityLife),
		KeyUsage:              x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
		BasicConstraintsValid: true,
		IsCA:                  true,
		MaxPathLenZero:        true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return authority{}, err
	}
	certificate, err := x509.ParseCertificate(der)
	if err != nil {
		return authority{}, err
	}
	err = errors.Join(writeKey(filepath.Join(dir, "ca.key"), key), writePEM(filepath.Join(dir, "ca.pem"), "CERTIFICATE", der, 0o644))
	return authority{certificate, key}, err
}

// readAuthority reads the authority of the directory. Half of one is an error: overwriting it would end every client's trust.
func readAuthority(dir string) (authority, error) {
	certPath, keyPath := filepath.Join(dir, "ca.pem"), filepath.Join(dir, "ca.key")
	certText, certErr := os.ReadFile(certPath)
	keyText, keyErr := os.ReadFile(keyPath)
	noCert, noKey := errors.Is(certErr, fs.ErrNotExist), errors.Is(keyErr, fs.ErrNotExist)
	switch {
	case noCert && noKey:
		return authority{}, fs.ErrNotExist
	case noCert || noKey:
		return authority{}, fmt.Errorf("%s has one of ca.pem and ca.key without the other: bring the other back, or move this one away", dir)
	case certErr != nil || keyErr != nil:
		return authority{}, errors.Join(certErr, keyErr)
	}
	certBlock, _ := pem.Decode(certText)
	keyBlock, _ := pem.Decode(keyText)
	if certBlock == nil || keyBlock == nil {
		return authority{}, fmt.Errorf("%s: ca.pem and ca.key are not PEM files", dir)
	}
	certificate, err := x509.ParseCertificate(certBlock.Bytes)
	if err != nil {
		return authority{}, fmt.Errorf("%s: %w", certPath, err)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(keyBlock.Bytes)
	if err != nil {
		return authority{}, fmt.Errorf("%s: not a key as this command writes it", keyPath)
	}
	key, ok := parsed.(*ecdsa.PrivateKey)
	if !ok || !key.PublicKey.Equal(certificate.PublicKey) || !certificate.IsCA {
		return authority{}, fmt.Errorf("%s: ca.key is not the key of the authority in ca.pem", dir)
	}
	return authority{certificate, key}, nil
}

func serialNumber() (*big.Int, error) {
	return rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
}

func writeKey(path string, key *ecdsa.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	return writePEM(path, "PRIVATE KEY", der, 0o600)
}

// writePEM replaces the file whole, so that a server that reads it meanwhile reads the old one or the new one.
func writePEM(path, kind string, der []byte, mode os.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	err = errors.Join(pem.Encode(f, &pem.Block{Type: kind, Bytes: der}), f.Chmod(mode), f.Sync(), f.Close())
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
