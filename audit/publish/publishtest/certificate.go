package publishtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"path/filepath"
	"testing"
	"time"
)

// An Authority issues certificates.
type Authority struct {
	// File holds its own certificate in PEM form.
	File string

	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// A Certificate is a pair of files in PEM form.
type Certificate struct{ File, Key string }

// NewAuthority makes an authority whose files are gone with the test.
func NewAuthority(t *testing.T) *Authority {
	t.Helper()
	a := &Authority{key: newKey(t)}
	now := time.Now()
	a.certificate = &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "authority of a test"},
		NotBefore: now.AddDate(-2, 0, 0), NotAfter: now.AddDate(1, 0, 0),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	a.File = a.sign(t, a.certificate, a.key)
	return a
}

// Issue issues a certificate for hosts, each a name or an address, which is valid until a
// time. Without hosts it is one for a client.
func (a *Authority) Issue(t *testing.T, until time.Time, hosts ...string) *Certificate {
	t.Helper()
	c := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "of a test"},
		NotBefore: time.Now().AddDate(-1, 0, 0), NotAfter: until,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	if len(hosts) == 0 {
		c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}
	}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			c.IPAddresses = append(c.IPAddresses, ip)
		} else {
			c.DNSNames = append(c.DNSNames, h)
		}
	}
	key := newKey(t)
	out := &Certificate{File: a.sign(t, c, key)}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	out.Key = write(t, out.File+".key", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
	return out
}

// sign writes a certificate of a key that the authority signs.
func (a *Authority) sign(t *testing.T, c *x509.Certificate, key *ecdsa.PrivateKey) (file string) {
	t.Helper()
	der, err := x509.CreateCertificate(rand.Reader, c, a.certificate, &key.PublicKey, a.key)
	if err != nil {
		t.Fatal(err)
	}
	return write(t, filepath.Join(t.TempDir(), "certificate.pem"), pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
}

func newKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}
