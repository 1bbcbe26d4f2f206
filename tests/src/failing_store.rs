//! A store of files that fails at the call a test names: a full disk, or an error of the device.

use bytes::Bytes;
use futures_util::StreamExt;
use futures_util::stream::BoxStream;
use object_store::memory::InMemory;
use object_store::path::Path;
use object_store::{
    CopyOptions, Error, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta, ObjectStore,
    PutMultipartOptions, PutOptions, PutPayload, PutResult, Result,
};
use std::io::ErrorKind;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// Blobs in memory, behind calls that are counted.
#[derive(Debug, Clone)]
pub struct FailingStore {
    inner: Arc<InMemory>,
    calls: Arc<AtomicI64>,
    fails_at: Arc<AtomicI64>,
    kind: ErrorKind,
}

impl FailingStore {
    /// A store that fails in that way once told to.
    #[must_use]
    pub fn new(kind: ErrorKind) -> Self {
        let zero = || Arc::new(AtomicI64::new(0));
        Self { inner: Arc::default(), calls: zero(), fails_at: zero(), kind }
    }

    /// Fails at the n-th call from now, once; never for 0.
    pub fn fail_at(&self, n: i64) {
        self.calls.store(0, Ordering::SeqCst);
        self.fails_at.store(n, Ordering::SeqCst);
    }

    /// How many calls there were since then.
    #[must_use]
    pub fn calls(&self) -> i64 {
        self.calls.load(Ordering::SeqCst)
    }

    /// The names of everything in it.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let all = self.inner.list(None).map(|about| about.expect("a blob").location.to_string());
        actix_web::rt::System::new().block_on(all.collect())
    }

    fn count(&self) -> Result<()> {
        let n = self.calls.fetch_add(1, Ordering::SeqCst) + 1;
        if n == self.fails_at.load(Ordering::SeqCst) {
            return Err(Error::Generic {
                store: "failing",
                source: Box::new(std::io::Error::from(self.kind)),
            });
        }
        Ok(())
    }
}

impl std::fmt::Display for FailingStore {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a store that fails")
    }
}

#[async_trait::async_trait]
impl ObjectStore for FailingStore {
    async fn put_opts(&self, location: &Path, payload: PutPayload, opts: PutOptions) -> Result<PutResult> {
        self.count()?;
        self.inner.put_opts(location, payload, opts).await
    }

    async fn put_multipart_opts(
        &self,
        location: &Path,
        opts: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        self.count()?;
        self.inner.put_multipart_opts(location, opts).await
    }

    async fn get_opts(&self, location: &Path, options: GetOptions) -> Result<GetResult> {
        self.count()?;
        self.inner.get_opts(location, options).await
    }

    async fn get_ranges(&self, location: &Path, ranges: &[Range<u64>]) -> Result<Vec<Bytes>> {
        self.count()?;
        self.inner.get_ranges(location, ranges).await
    }

    fn delete_stream(&self, locations: BoxStream<'static, Result<Path>>) -> BoxStream<'static, Result<Path>> {
        match self.count() {
            Ok(()) => self.inner.delete_stream(locations),
            Err(error) => futures_util::stream::once(async move { Err(error) }).boxed(),
        }
    }

    fn list(&self, prefix: Option<&Path>) -> BoxStream<'static, Result<ObjectMeta>> {
        match self.count() {
            Ok(()) => self.inner.list(prefix),
            Err(error) => futures_util::stream::once(async move { Err(error) }).boxed(),
        }
    }

    async fn list_with_delimiter(&self, prefix: Option<&Path>) -> Result<ListResult> {
        self.count()?;
        self.inner.list_with_delimiter(prefix).await
    }

    async fn copy_opts(&self, from: &Path, to: &Path, options: CopyOptions) -> Result<()> {
        self.count()?;
        self.inner.copy_opts(from, to, options).await
    }
}
