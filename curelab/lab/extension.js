// A part of JupyterLab that is ours. It is written as a container of modules, which is what JupyterLab loads, so that nothing has to be built.
(() => {
  let scope; // name of a package -> its version -> how to get it: what JupyterLab shares
  const shared = async name => {
    const versions = Object.values(scope[name]);
    return (await (versions.find(each => each.loaded) ?? versions[0]).get())();
  };
  const settings = JSON.parse(document.getElementById('jupyter-config-data').textContent);

  // JupyterLab's own memory of how a page lay writes it half a second after the last change, and opens no notebook before it is written.
  async function memory() {
    const { IStateDB, StateDB } = await shared('@jupyterlab/statedb');
    return { id: 'curelab:state', autoStart: true, provides: IStateDB, activate: () => new StateDB() };
  }

  // A part that draws one sort of output is loaded when the first of that sort is to be drawn: what plotly needs is as large as all else together.
  const loaded = {};
  function load({ name, load, mimeExtension }) {
    return loaded[name] ??= new Promise((resolve, reject) => {
      const script = Object.assign(document.createElement('script'), { src: `${settings.fullLabextensionsUrl}/${name}/${load}`, onload: resolve, onerror: reject });
      document.head.append(script);
    }).then(async () => {
      const container = window._JUPYTERLAB[name];
      await container.init(scope);
      const made = (await container.get(mimeExtension))();
      return [made.default ?? made].flat()[0].rendererFactory;
    }).catch(why => { delete loaded[name]; throw why; }); // the next figure tries again
  }
  async function drawnLater() {
    const { Panel } = await shared('@lumino/widgets');
    class Later extends Panel {
      constructor(part, options) { super(); this.part = part; this.options = options; }
      async renderModel(model) {
        if (!this.widgets.length) {
          const made = (await load(this.part)).createRenderer(this.options);
          if (!this.widgets.length) this.addWidget(made);
        }
        await this.widgets[0].renderModel(model);
      }
    }
    return settings.later.map(part => ({
      id: `curelab:${part.name}`, dataType: 'json', rank: 0,
      rendererFactory: { safe: true, mimeTypes: [part.mimeType], createRenderer: options => new Later(part, options) },
    }));
  }

  const modules = { './extension': memory, './mimeExtension': drawnLater };
  (window._JUPYTERLAB ??= {}).curelab = {
    init(given) { scope = given; },
    async get(name) { const made = { __esModule: true, default: await modules[name]() }; return () => made; },
  };
})();
