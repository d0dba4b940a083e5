// Once a study is saved its key stands in the address and in the links to the other pages.
function render({ model }) {
  const go = () => {
    const study = model.get("study");
    if (!study) return;
    const search = `?study=${study}`;
    history.replaceState(null, "", `${location.pathname}${search}${location.hash}`);
    for (const link of document.querySelectorAll("a[data-page]")) {
      const address = new URL(link.href);
      address.search = search;
      link.href = address.href;
    }
  };
  model.on("change:study", go);
  go();
}

export default { render };
