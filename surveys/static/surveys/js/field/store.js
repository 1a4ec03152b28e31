// What is kept on this phone. The only module that touches IndexedDB.
//
// packs     bridges taken along, under their owner's id: can be fetched again
// pictures  small pictures of theirs: can be fetched again
// drafts    visits being written: nowhere else in the world
// blobs     photographs as the camera made them: nowhere else in the world
// outbox    visits that are finished and not yet all on the server
// receipts  what was sent, when
// facts     settings, and who was signed in last

const NAME = "second-crossing-field";
const VERSION = 1;
const ALL = ["packs", "pictures", "drafts", "blobs", "outbox", "receipts", "facts"];

export async function openStore(indexedDB = globalThis.indexedDB) {
  const db = await opened(indexedDB);

  // Strict: the answer comes when the bytes are on the disk, not on their way there.
  function transaction(names, mode) {
    return db.transaction(names, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
  }

  function write(names, act) {
    const work = transaction(names, "readwrite");
    return new Promise((resolve, reject) => {
      work.oncomplete = () => resolve();
      work.onabort = () => reject(work.error ?? new Error("Nothing was written."));
      work.onerror = () => {};
      act(...names.map((name) => work.objectStore(name)));
    });
  }

  function get(name, key) {
    return answered(transaction([name], "readonly").objectStore(name).get(key));
  }

  function all(name) {
    return answered(transaction([name], "readonly").objectStore(name).getAll());
  }

  const put = (name, value) => write([name], (rows) => rows.put(value));
  const remove = (name, key) => write([name], (rows) => rows.delete(key));

  return {
    // -- settings
    fact: async (key) => (await get("facts", key))?.value,
    setFact: (key, value) => put("facts", { key, value }),

    // -- bridges taken along
    packs: async (owner) => (await all("packs")).filter((one) => one.owner === owner),
    pack: (owner, slug) => get("packs", [owner, slug]),
    savePack: (pack) => put("packs", pack),
    dropPack: async (owner, slug) => {
      const pictures = (await all("pictures")).filter((one) => one.owner === owner && one.slug === slug);
      await write(["packs", "pictures"], (packs, kept) => {
        packs.delete([owner, slug]);
        for (const one of pictures) kept.delete([owner, one.id]);
      });
    },
    picture: (owner, id) => get("pictures", [owner, id]),
    savePicture: (picture) => put("pictures", picture),

    // -- visits being written
    drafts: () => all("drafts"),
    draft: (id) => get("drafts", id),
    // Not when it is finished already: another tab has done that meanwhile.
    saveDraft: async (draft) => {
      let finished = false;
      await write(["drafts", "outbox", "receipts"], (drafts, outbox, receipts) => {
        for (const rows of [outbox, receipts]) {
          rows.getKey(draft.client_id).onsuccess = ({ target }) => {
            if (target.result === undefined) return;
            finished = true;
            target.transaction.abort();
          };
        }
        drafts.put(draft);
      }).catch((error) => {
        throw finished ? Object.assign(new Error("This visit is finished and saved already."), { name: "Finished" }) : error;
      });
    },
    // Thrown away by hand only, with its photographs.
    dropDraft: async (draft) => {
      await write(["drafts", "blobs"], (drafts, blobs) => {
        drafts.delete(draft.client_id);
        for (const photo of draft.photos) blobs.delete(photo.client_id);
      });
    },

    // -- photographs
    blob: (id) => get("blobs", id),
    // The picture and the draft that speaks of it, both or neither.
    addPhoto: (draft, blob) =>
      write(["drafts", "blobs"], (drafts, blobs) => {
        blobs.put(blob);
        drafts.put(draft);
      }),
    dropPhoto: (draft, id) =>
      write(["drafts", "blobs"], (drafts, blobs) => {
        blobs.delete(id);
        drafts.put(draft);
      }),

    // -- waiting to be sent
    outbox: async () => (await all("outbox")).sort((a, b) => a.queued_at - b.queued_at),
    item: (id) => get("outbox", id),
    saveItem: (item) => put("outbox", item),
    // The draft becomes an item in one step: it is never in neither. Once sent, it is
    // not put back by a tab that was left open.
    queue: (item) =>
      write(["drafts", "outbox", "receipts"], (drafts, outbox, receipts) => {
        drafts.delete(item.client_id);
        receipts.getKey(item.client_id).onsuccess = ({ target }) => {
          if (target.result === undefined) outbox.put(item);
        };
      }),
    reopen: (draft) =>
      write(["drafts", "outbox"], (drafts, outbox) => {
        drafts.put(draft);
        outbox.delete(draft.client_id);
      }),
    // Only when the server has said that it holds all of it.
    finish: (item, receipt) =>
      write(["outbox", "blobs", "receipts"], (outbox, blobs, receipts) => {
        outbox.delete(item.client_id);
        for (const photo of item.photos) blobs.delete(photo.client_id);
        receipts.put(receipt);
      }),
    receipts: async () => (await all("receipts")).sort((a, b) => b.sent_at - a.sent_at),
    load: (items, blobs, drafts) =>
      write(["outbox", "blobs", "drafts"], (outbox, kept, begun) => {
        for (const blob of blobs) kept.put(blob);
        for (const item of items) outbox.put(item);
        for (const draft of drafts) begun.put(draft);
      }),
    close: () => db.close(),
  };
}

function opened(indexedDB) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const db = request.result;
      const keys = {
        packs: ["owner", "slug"],
        pictures: ["owner", "id"],
        drafts: "client_id",
        blobs: "client_id",
        outbox: "client_id",
        receipts: "client_id",
        facts: "key",
      };
      for (const name of ALL) {
        if (!db.objectStoreNames.contains(name)) db.createObjectStore(name, { keyPath: keys[name] });
      }
    };
    request.onsuccess = () => {
      // A later release may need to change the shape while this tab is open.
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("Another tab holds an older release open."));
  });
}

function answered(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
