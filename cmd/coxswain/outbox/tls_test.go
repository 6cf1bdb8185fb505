package outbox

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// Over TLS a record goes only to a store whose certificate the site's authority has
// signed.
func TestTLS(t *testing.T) {
	cert, authority := selfSigned(t)
	c := startCluster(t, 1, func(o *server.Options) {
		o.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
		o.TLSTimeout = patience.Seconds()
	})
	s := Store{URL: strings.Replace(c.url(), "nats:", "tls:", 1), Patience: patience}
	if err := s.Reach(t.Context()); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("a certificate that nobody knows: %v", err)
	}
	s.CA = authority
	if err := s.Create(t.Context(), 1, 0); err != nil {
		t.Fatal(err)
	}
	r := newRoom(t, s)
	r.record(0)
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	arrived(t, r, 1)
}

// selfSigned is a certificate for this machine, and a file with it.
func selfSigned(t *testing.T) (tls.Certificate, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	as := &x509.Certificate{SerialNumber: big.NewInt(1), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true,
		BasicConstraintsValid: true, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, as, as, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, path
}
