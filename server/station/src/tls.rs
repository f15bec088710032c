//! HTTPS on the range's network: an authority of this data folder's own, which a person trusts once on a phone, and
//! certificates by it for the addresses that this machine has at the moment.
//!
//! A browser tells a page its place, keeps a screen awake and installs a page over HTTPS only, and no public authority
//! certifies the addresses of a local network. The authority may sign for private addresses and for `.local` names alone
//! (name constraints, RFC 5280 section 4.2.1.10), so that whoever gets hold of its key cannot pass for a bank.

use std::collections::BTreeSet;
use std::io::{ErrorKind, Write as _};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan as _};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, PublicKeyData as _, SanType,
};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use sha2::{Digest as _, Sha256};

use crate::addresses;

/// The file in the data folder: key and certificate of the authority.
const FILE: &str = "authority.pem";
/// For how long the authority is good: a phone is asked to trust it once.
const AUTHORITY_YEARS: i64 = 10;
/// For how long a certificate is good. Phones take no longer one than 825 days, even by an authority of one's own.
const LEAF_DAYS: i64 = 397;
/// A laptop without a network may have a clock that is fast.
const EARLIER_DAYS: i64 = 2;

/// Names that every certificate has beside the addresses.
const NAMES: [&str; 2] = ["localhost", "loftwatch.local"];

/// Why there is no HTTPS.
#[derive(Debug, thiserror::Error)]
pub(crate) enum TlsError {
    /// The file cannot be read or written.
    #[error("`{FILE}`: {0}")]
    File(#[from] std::io::Error),
    /// The file does not hold what it should.
    #[error("`{FILE}` does not hold a key and a certificate ({0})")]
    Damaged(String),
    /// A certificate could not be made.
    #[error("no certificate could be made: {0}")]
    Made(#[from] rcgen::Error),
    /// A certificate is not taken.
    #[error("the certificate is not taken: {0}")]
    Taken(#[from] rustls::Error),
}

/// The authority, and the certificate in use.
pub(crate) struct Tls {
    authority: CertificateDer<'static>,
    issuer: Issuer<'static, KeyPair>,
    leaf: Mutex<Option<Leaf>>,
}

impl std::fmt::Debug for Tls {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Tls").field("authority", &self.fingerprint()).finish_non_exhaustive()
    }
}

struct Leaf {
    hosts: BTreeSet<IpAddr>,
    config: Arc<ServerConfig>,
}

impl Tls {
    /// Reads the authority of a data folder, or makes one.
    pub(crate) fn open(folder: &Path) -> Result<Self, TlsError> {
        let path = folder.join(FILE);
        let text = match std::fs::read(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == ErrorKind::NotFound => make(&path)?,
            Err(error) => return Err(error.into()),
        };
        let damaged = |why: &dyn std::fmt::Display| TlsError::Damaged(why.to_string());
        let authority = CertificateDer::from_pem_slice(&text).map_err(|error| damaged(&error))?;
        let key = PrivateKeyDer::from_pem_slice(&text).map_err(|error| damaged(&error))?;
        let key = KeyPair::try_from(key.secret_der()).map_err(|error| damaged(&error))?;
        let issuer = Issuer::new(authority_params(&key), key);
        let tls = Self { authority, issuer, leaf: Mutex::new(None) };
        // Told now and not to the first phone, should key and certificate not belong together.
        tls.config(IpAddr::from([127, 0, 0, 1]))?;
        Ok(tls)
    }

    /// The authority's certificate, DER.
    pub(crate) fn authority(&self) -> &[u8] {
        &self.authority
    }

    /// SHA-256 of the authority's certificate as people compare it: pairs of hexadecimal digits.
    pub(crate) fn fingerprint(&self) -> String {
        let pairs: Vec<String> =
            Sha256::digest(&self.authority).iter().map(|byte| format!("{byte:02X}")).collect();
        pairs.join(" ")
    }

    /// What a connection that reached this address is answered with. A certificate is made when the addresses change.
    pub(crate) fn config(&self, reached: IpAddr) -> Result<Arc<ServerConfig>, TlsError> {
        let reached = reached.to_canonical();
        let mut leaf = self.leaf.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(leaf) = leaf.as_ref().filter(|leaf| leaf.hosts.contains(&reached)) {
            return Ok(Arc::clone(&leaf.config));
        }
        let mut hosts: BTreeSet<IpAddr> = addresses::own().into_iter().collect();
        hosts.extend([reached, IpAddr::from([127, 0, 0, 1])]);
        let config = Arc::new(self.issue(&hosts)?);
        *leaf = Some(Leaf { hosts, config: Arc::clone(&config) });
        Ok(config)
    }

    fn issue(&self, hosts: &BTreeSet<IpAddr>) -> Result<ServerConfig, TlsError> {
        let mut params = CertificateParams::new(NAMES.map(str::to_owned))?;
        // An address beyond the constraints would spoil the certificate for all others.
        params.subject_alt_names.extend(hosts.iter().copied().filter(is_private).map(SanType::IpAddress));
        params.distinguished_name = named("Loftwatch station");
        set_valid(&mut params, LEAF_DAYS);
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        let key = KeyPair::generate()?;
        let certificate = params.signed_by(&key, &self.issuer)?;
        let chain = vec![certificate.der().clone(), self.authority.clone()];
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()?
            .with_no_client_auth()
            .with_single_cert(chain, key)?;
        Ok(config)
    }
}

fn make(path: &Path) -> Result<Vec<u8>, TlsError> {
    let key = KeyPair::generate()?;
    let certificate = authority_params(&key).self_signed(&key)?;
    let text = format!("{}{}", certificate.pem(), key.serialize_pem());
    let new = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(path);
    let mut file = new?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    Ok(text.into_bytes())
}

/// The same for the same key, dates aside.
fn authority_params(key: &KeyPair) -> CertificateParams {
    let mut params = CertificateParams::default();
    // Some phones list authorities by name alone: stations are told apart by the beginning of a hash of the key.
    let hash = Sha256::digest(key.der_bytes());
    params.distinguished_name = named(&format!("Loftwatch authority {:02X}{:02X}", hash[0], hash[1]));
    set_valid(&mut params, AUTHORITY_YEARS * 365);
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let names = ["local", "localhost"].map(|name| GeneralSubtree::DnsName(name.to_owned()));
    let hosts =
        PRIVATE.map(|(host, bits)| GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(host, bits)));
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: names.into_iter().chain(hosts).collect(),
        excluded_subtrees: Vec::new(),
    });
    params
}

fn named(name: &str) -> DistinguishedName {
    let mut named = DistinguishedName::new();
    named.push(DnType::CommonName, name);
    named
}

/// Sets from some days ago, for so many days from now.
fn set_valid(params: &mut CertificateParams, days: i64) {
    let today = Timestamp::now().to_zoned_datetime(TimeZone::UTC).date();
    let at = |days: i64| {
        let day = today.saturating_add(days.days());
        rcgen::date_time_ymd(i32::from(day.year()), day.month().unsigned_abs(), day.day().unsigned_abs())
    };
    params.not_before = at(-EARLIER_DAYS);
    params.not_after = at(days);
}

/// Addresses for which the authority may sign: those that no one owns on the internet (RFC 1918, RFC 3927, RFC 4193,
/// RFC 4291) and loopback.
const PRIVATE: [(IpAddr, u8); 8] = [
    (IpAddr::V4(Ipv4Addr::new(10, 0, 0, 0)), 8),
    (IpAddr::V4(Ipv4Addr::new(172, 16, 0, 0)), 12),
    (IpAddr::V4(Ipv4Addr::new(192, 168, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(169, 254, 0, 0)), 16),
    (IpAddr::V4(Ipv4Addr::new(127, 0, 0, 0)), 8),
    (IpAddr::V6(Ipv6Addr::new(0xfc00, 0, 0, 0, 0, 0, 0, 0)), 7),
    (IpAddr::V6(Ipv6Addr::new(0xfe80, 0, 0, 0, 0, 0, 0, 0)), 10),
    (IpAddr::V6(Ipv6Addr::LOCALHOST), 128),
];

/// Whether a certificate can be for this address.
pub(crate) fn is_private(host: &IpAddr) -> bool {
    PRIVATE.iter().any(|(network, bits)| match (host, network) {
        (IpAddr::V4(host), IpAddr::V4(network)) => {
            host.to_bits().checked_shr(32 - u32::from(*bits))
                == network.to_bits().checked_shr(32 - u32::from(*bits))
        }
        (IpAddr::V6(host), IpAddr::V6(network)) => {
            host.to_bits().checked_shr(128 - u32::from(*bits))
                == network.to_bits().checked_shr(128 - u32::from(*bits))
        }
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_authority_is_made_once_and_for_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let first = Tls::open(folder.path()).unwrap();
        let mode = std::fs::metadata(folder.path().join(FILE)).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        assert_eq!(Tls::open(folder.path()).unwrap().authority(), first.authority());
        let other = tempfile::tempdir().unwrap();
        assert_ne!(Tls::open(other.path()).unwrap().authority(), first.authority());
        assert_eq!(first.fingerprint().len(), 32 * 3 - 1);
    }

    #[test]
    fn a_damaged_file_is_told_and_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE), "nonsense").unwrap();
        assert!(matches!(Tls::open(folder.path()), Err(TlsError::Damaged(_))));
        assert_eq!(std::fs::read_to_string(folder.path().join(FILE)).unwrap(), "nonsense");
    }

    #[test]
    fn only_addresses_that_nobody_owns_are_private() {
        for host in
            ["10.1.2.3", "172.31.0.1", "192.168.4.1", "169.254.7.7", "127.0.0.1", "fd00::1", "fe80::1", "::1"]
        {
            assert!(is_private(&host.parse().unwrap()), "{host}");
        }
        for host in ["11.0.0.1", "172.32.0.1", "192.169.0.1", "8.8.8.8", "2001:db8::1", "::2"] {
            assert!(!is_private(&host.parse().unwrap()), "{host}");
        }
    }

    #[test]
    fn a_certificate_lasts_until_the_addresses_change() {
        let folder = tempfile::tempdir().unwrap();
        let tls = Tls::open(folder.path()).unwrap();
        let local = "127.0.0.1".parse().unwrap();
        let first = tls.config(local).unwrap();
        assert!(Arc::ptr_eq(&first, &tls.config(local).unwrap()));
        let moved = tls.config("192.168.77.1".parse().unwrap()).unwrap();
        assert!(!Arc::ptr_eq(&first, &moved));
        assert!(Arc::ptr_eq(&moved, &tls.config(local).unwrap()), "one that has the new address too");
    }
}
