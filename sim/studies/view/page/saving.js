// Report, drawings and tables of what is shown, written by the program beside the scene; this only says how far it is.
class Saving {
  constructor(view) {
    this.view = view; this.box = byId("save-box"); this.told = byId("job"); this.stop = byId("job-stop");
    byId("save").addEventListener("click", () => this.box.showModal());
    byId("save-close").addEventListener("click", () => this.box.close());
    for (const button of this.box.querySelectorAll("[data-save]")) {
      button.addEventListener("click", () => { this.box.close(); view.tell(""); view.link.say({ kind: "save", what: button.dataset.save }); });
    }
    this.stop.addEventListener("click", () => view.link.say({ kind: "stop" }));
  }

  // How a job went is not known any more once the program is gone.
  forget() { this.told.textContent = ""; this.stop.hidden = true; }

  hear({ step, words }) {
    const going = step === "begun" || step === "working";
    this.told.textContent = words;
    this.told.dataset.step = step;
    this.stop.hidden = !going || !this.view.edits;
  }
}
